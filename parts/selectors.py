"""The reads of the catalogue."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from django.db.models import Count, Q, QuerySet
from django.utils import timezone

from diagnostics.engine.system.model import TopSystem
from diagnostics.models import Unit
from diagnostics.selectors import newest_revisions, system_of
from parts.models import Part
from shop.models import Car
from shop.selectors import typed

SHELF_ROWS = 200
"""Rows that the page shows at once; whoever has more narrows the list by typing."""


@dataclass(frozen=True, slots=True)
class Fitting:
    """The positions of one top system that a part fits: the system's title (its slug while undeclared), and for each
    position its code with its name ('' where unknown).
    """

    system: str
    positions: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ShelfRow:
    """`fitted`: units of the part in cars known here. `replaced`: units of it taken off in the last twelve months."""

    part: Part
    fittings: tuple[Fitting, ...]
    fitted: int
    replaced: int


@dataclass(frozen=True, slots=True)
class Shelf:
    """`left_out`: matching parts beyond the first SHELF_ROWS. `empty`: the catalogue has no part at all. `systems`:
    slug and title of the top systems that are declared."""

    rows: tuple[ShelfRow, ...]
    left_out: int
    empty: bool
    systems: tuple[tuple[str, str], ...]


def parts_for(*, system: str, position: str) -> QuerySet[Part]:
    """Parts that fit a position: those that nothing supersedes first, the superseded ones after them."""
    fitting = Part.objects.filter(fits__system=typed(system), fits__position=typed(position))
    return (
        fitting.select_related("superseded_by")
        .annotate(successors=Count("superseded_by"))
        .order_by("successors", "number")
    )


def shelf(*, query: str = "", today: date | None = None) -> Shelf:
    """The catalogue, or what of it matches `query`: a part of the number, the name or a system's slug, or a position.

    Seven queries, however long the catalogue is.
    """
    query = typed(query)
    found = _matching(query)
    total = found.count()
    parts = list(found.select_related("superseded_by").prefetch_related("fits")[:SHELF_ROWS])
    systems = {revision.slug: system_of(revision) for revision in newest_revisions()}
    since = (today or timezone.localdate()) - timedelta(days=365)
    fitted = _fitted(parts, systems)
    replaced = _count_by_part(Unit.objects.filter(part__in=[part.number for part in parts], removed_on__gt=since))
    rows = tuple(
        ShelfRow(
            part=part,
            fittings=_fittings(part, systems),
            fitted=fitted.get(part.number, 0),
            replaced=replaced.get(part.number, 0),
        )
        for part in parts
    )
    declared = tuple((slug, system.title) for slug, system in systems.items())
    return Shelf(rows=rows, left_out=total - len(rows), empty=not total and not query, systems=declared)


def systems_declared() -> tuple[tuple[str, str], ...]:
    """Slug and title, for a form that asks for a top system."""
    return tuple(newest_revisions().values_list("slug", "title"))


def _matching(query: str) -> QuerySet[Part]:
    if not query:
        return Part.objects.all()
    words = Q(number__icontains=query) | Q(name__icontains=query)
    places = Q(fits__system__icontains=query) | Q(fits__position__iexact=query)
    return Part.objects.filter(words | places).distinct()


def _fitted(parts: Iterable[Part], systems: Mapping[str, TopSystem]) -> dict[str, int]:
    """Part number -> units in cars known here: those booked, and the original ones of positions that nobody ever
    touched."""
    numbers = {part.number for part in parts}
    counts = _count_by_part(Unit.objects.filter(part__in=numbers, removed_on__isnull=True))
    cars = dict(Car.objects.order_by().values_list("system").annotate(n=Count("pk")))
    booked = Unit.objects.order_by().values_list("car__system", "position").annotate(n=Count("car", distinct=True))
    touched = {(system, position): n for system, position, n in booked}
    for slug, system in systems.items():
        for code, position in system.positions.items():
            if position.part in numbers:
                untouched = cars.get(slug, 0) - touched.get((slug, code), 0)
                counts[position.part] = counts.get(position.part, 0) + untouched
    return counts


def _count_by_part(units: QuerySet[Unit]) -> dict[str, int]:
    return dict(units.order_by().values_list("part").annotate(n=Count("pk")))


def _fittings(part: Part, systems: Mapping[str, TopSystem]) -> tuple[Fitting, ...]:
    found = []
    for slug, fits in groupby(part.fits.all(), key=lambda fit: fit.system):
        system = systems.get(slug)
        declared = system.positions if system else {}
        places = [(fit.position, declared[fit.position].name if fit.position in declared else "") for fit in fits]
        found.append(Fitting(system.title if system else slug, tuple(places)))
    return tuple(found)
