"""The reads of the catalogue."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby

from django.db.models import Count, Q, QuerySet, Window
from django.utils import timezone

from diagnostics.engine.system.model import TopSystem
from diagnostics.models import Unit
from diagnostics.selectors import newest_revisions, system_of
from parts.models import Part
from shop.models import Car
from shop.selectors import typed

SHELF_ROWS = 60
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
    """The catalogue, or what of it matches `query`: a part of the number, the name, the place or a system's slug, a
    position or a barcode.

    Six queries, however long the catalogue is.
    """
    query = typed(query)
    found = Part.objects.filter(pk__in=_matching(query).values("pk")).annotate(total=Window(Count("pk")))
    rows, systems = _rows(found, today or timezone.localdate())
    total: int = getattr(rows[0].part, "total", 0) if rows else 0
    declared = tuple((slug, system.title) for slug, system in systems.items())
    return Shelf(rows=rows, left_out=total - len(rows), empty=not total and not query, systems=declared)


def shelf_of(parts: QuerySet[Part]) -> tuple[ShelfRow, ...]:
    """Rows of these parts, at most SHELF_ROWS; six queries."""
    return _rows(parts, timezone.localdate())[0]


def _rows(found: QuerySet[Part], today: date) -> tuple[tuple[ShelfRow, ...], dict[str, TopSystem]]:
    """Rows of the first SHELF_ROWS parts, and the top systems that are declared."""
    parts = list(found.select_related("superseded_by", "stock").prefetch_related("fits")[:SHELF_ROWS])
    systems = {revision.slug: system_of(revision) for revision in newest_revisions()}
    since = today - timedelta(days=365)
    fitted, replaced = _units(parts, systems, since)
    rows = tuple(
        ShelfRow(
            part=part,
            fittings=_fittings(part, systems),
            fitted=fitted.get(part.number, 0),
            replaced=replaced.get(part.number, 0),
        )
        for part in parts
    )
    return rows, systems


def fittings(part: Part) -> tuple[Fitting, ...]:
    """Where one part fits; two queries."""
    return _fittings(part, {revision.slug: system_of(revision) for revision in newest_revisions()})


def systems_declared() -> tuple[tuple[str, str], ...]:
    """Slug and title, for a form that asks for a top system."""
    return tuple(newest_revisions().values_list("slug", "title"))


def _matching(query: str) -> QuerySet[Part]:
    if not query:
        return Part.objects.all()
    words = Q(number__icontains=query) | Q(name__icontains=query) | Q(place__icontains=query)
    places = Q(fits__system__icontains=query) | Q(fits__position__iexact=query)
    return Part.objects.filter(words | places | Q(barcodes__barcode=query)).distinct()


def _units(
    parts: Iterable[Part], systems: Mapping[str, TopSystem], since: date
) -> tuple[dict[str, int], dict[str, int]]:
    """Part number -> units in cars known here (those booked, and the original ones of positions that nobody ever
    touched), and units that came off after `since`."""
    numbers = {part.number for part in parts}
    counted = Unit.objects.filter(part__in=numbers).order_by().values_list("part")
    rows = counted.annotate(
        there=Count("pk", filter=Q(removed_on__isnull=True)), off=Count("pk", filter=Q(removed_on__gt=since))
    )
    fitted: dict[str, int] = {}
    replaced: dict[str, int] = {}
    for number, there, off in rows:
        fitted[number], replaced[number] = there, off
    cars = dict(Car.objects.order_by().values_list("system").annotate(n=Count("pk")))
    booked = Unit.objects.order_by().values_list("car__system", "position").annotate(n=Count("car", distinct=True))
    touched = {(system, position): n for system, position, n in booked}
    for slug, system in systems.items():
        for code, position in system.positions.items():
            if position.part in numbers:
                untouched = cars.get(slug, 0) - touched.get((slug, code), 0)
                fitted[position.part] = fitted.get(position.part, 0) + untouched
    return fitted, replaced


def _fittings(part: Part, systems: Mapping[str, TopSystem]) -> tuple[Fitting, ...]:
    found = []
    for slug, fits in groupby(part.fits.all(), key=lambda fit: fit.system):
        system = systems.get(slug)
        declared = system.positions if system else {}
        places = [(fit.position, declared[fit.position].name if fit.position in declared else "") for fit in fits]
        found.append(Fitting(system.title if system else slug, tuple(places)))
    return tuple(found)
