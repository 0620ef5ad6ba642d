"""Everything that is known of one part."""

from dataclasses import dataclass

from django.db.models import Case, F, IntegerField, Q, When

from parts.models import Lot, Movement, Part, PartCode
from parts.selectors.catalogue import Fitting, fittings
from parts.selectors.standing import Standing, standings

LOTS = 40
"""Batches that the page shows at once: those with pieces first, then the newest."""
MOVES = 40
"""Movements on one page of the ledger."""


@dataclass(frozen=True, slots=True)
class Older:
    """A part that this one replaces, directly or not. `usable`: its stock may be fitted in this one's place, which
    takes that every step from it to here allows it."""

    part: Part
    shelf: int
    usable: bool


@dataclass(frozen=True, slots=True)
class PartFacts:
    """`newer`: what replaces the part, in order; the last is what is ordered now."""

    part: Part
    standing: Standing
    barcodes: tuple[PartCode, ...]
    newer: tuple[Part, ...]
    older: tuple[Older, ...]
    fittings: tuple[Fitting, ...]
    lots: tuple[Lot, ...]


@dataclass(frozen=True, slots=True)
class Ledger:
    """A page of a part's movements, the newest first. `before`: the number from which on older ones are read, None
    where there are none."""

    part: Part
    moves: tuple[Movement, ...]
    before: int | None


def part_facts(part: Part) -> PartFacts:
    """Eight queries."""
    newer, older = _chain(part)
    some_first = Case(When(quantity__gt=0, then=0), default=1, output_field=IntegerField())
    lots = part.lots.select_related("supplier").order_by(some_first, "-received_on", "-pk")
    return PartFacts(
        part=part,
        standing=standings([part])[part.pk],
        barcodes=tuple(part.barcodes.all()),
        newer=newer,
        older=older,
        fittings=fittings(part),
        lots=tuple(lots[:LOTS]),
    )


def ledger(part: Part, before: int | None = None) -> Ledger:
    """One query. `before`: only movements with a smaller number."""
    moves = Movement.objects.filter(part=part).select_related(
        "part", "lot", "job", "by", "undone_by", "order_line__order"
    )
    if before is not None:
        moves = moves.filter(seq__lt=before)
    rows = list(moves.order_by("-seq")[: MOVES + 1])
    return Ledger(part, tuple(rows[:MOVES]), rows[MOVES - 1].seq if len(rows) > MOVES else None)


def _chain(part: Part) -> tuple[tuple[Part, ...], tuple[Older, ...]]:
    linked = Part.objects.filter(Q(superseded_by__isnull=False) | Q(supersedes__isnull=False)).distinct()
    known = {one.pk: one for one in linked.annotate(pieces=F("stock__shelf"))}
    newer: list[Part] = []
    after = known.get(part.superseded_by_id or 0)
    while after is not None and after not in newer:
        newer.append(after)
        after = known.get(after.superseded_by_id or 0)
    older: list[Older] = []
    ends: list[tuple[Part, bool]] = [(part, True)]
    for end, usable in ends:  # grows as older ones are found; the services let no ring be kept
        for one in known.values():
            if one.superseded_by_id == end.pk:
                older.append(Older(one, one.pieces or 0, usable and one.old_usable))
                ends.append((one, usable and one.old_usable))
    return tuple(newer), tuple(older)
