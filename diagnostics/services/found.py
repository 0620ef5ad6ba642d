"""Production ranges as they are found, lost and found again from learning to learning.

What the owner decided stays as it was decided. A proposal goes on as the same proposal where the months that are found
now are mostly those that were found before.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from diagnostics.engine.faults import mode_words
from diagnostics.learning.records import PartModel, first_day, month_of
from diagnostics.learning.stored import to_json
from diagnostics.models import Learning, ProductionRange, RangeState
from diagnostics.selectors.learning import Group
from shop.services import trail_record
from shop.words import month_words

SAME_FROM = 0.5
"""Share of the months of two ranges, taken together, that they have in common when they are the same range."""
Place = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class Found:
    """A range of a model, as its row will have it."""

    place: Place
    positions: list[str]
    first: int
    last: int
    probability: float
    document: dict[str, Any]


def ranges_keep(
    *, models: Iterable[PartModel], groups: frozenset[Group] | None, learning: Callable[[], Learning]
) -> int:
    """Bring the proposals of the parts that were learned (`groups`; None: all) to what was found; how many changed.

    `learning` gives the row that they hang on, and is asked only where one changes.
    """
    there: dict[Place, list[ProductionRange]] = {}
    for row in ProductionRange.objects.select_for_update().order_by("pk"):
        if groups is None or (row.system, row.part) in groups:
            there.setdefault((row.system, row.part, row.mode), []).append(row)
    found = _found(models)
    changed = 0
    for place in sorted(there.keys() | found.keys()):
        changed += _keep_place(there.get(place, []), found.get(place, []), learning)
    return changed


def _found(models: Iterable[PartModel]) -> dict[Place, list[Found]]:
    """Kept by the false-discovery control and undecided, by place; the likelier one where two have the same months."""
    found: dict[Place, dict[tuple[int, int], Found]] = {}
    for model in models:
        one = model.population
        document: dict[str, Any] = {}
        for index, here in enumerate(model.ranges):
            if here.state != "proposed" or not here.found:
                continue
            document = document or to_json(model)
            place = (one.system, one.part, one.mode)
            at_place = found.setdefault(place, {})
            other = at_place.get((here.first, here.last))
            if other is None or other.probability < here.probability:
                at_place[here.first, here.last] = Found(
                    place=place,
                    positions=list(one.positions),
                    first=here.first,
                    last=here.last,
                    probability=here.probability,
                    document={"model": document, "range": index},
                )
    return {place: [at_place[months] for months in sorted(at_place)] for place, at_place in found.items()}


def _keep_place(rows: list[ProductionRange], found: list[Found], learning: Callable[[], Learning]) -> int:
    decided = [row for row in rows if row.state in (RangeState.CONFIRMED, RangeState.DISMISSED)]
    open_rows = [row for row in rows if row not in decided]
    found = [one for one in found if all(overlap(one, row) < SAME_FROM for row in decided)]
    pairs = _pairs(open_rows, found)
    goes_on = {row.pk for row, _one in pairs}
    lost = [row for row in open_rows if row.pk not in goes_on and row.state == RangeState.PROPOSED]
    moved = [(row, one) for row, one in pairs if row.state != RangeState.PROPOSED or _differs(row, one)]
    # All of them leave their months first: one may come to stand where another stood.
    ProductionRange.objects.filter(pk__in=[row.pk for row in lost] + [row.pk for row, _one in moved]).update(
        state=RangeState.GONE
    )
    for row in lost:
        row.version += 1
        ProductionRange.objects.filter(pk=row.pk).update(version=row.version)
        _tell(row, "range.gone", _("No longer seen in the data: {range}."))
    for row, one in moved:
        before = (row.state, row.first, row.last)
        _write(row, one, learning())
        if before[0] == RangeState.GONE:
            _tell(row, "range.found", _("Found again: {range}."))
        elif before != (row.state, row.first, row.last):
            _tell(row, "range.found", _("Now found as {range}."))
    known = {id(one) for _row, one in pairs}
    new = [one for one in found if id(one) not in known]
    for one in new:
        row = _write(ProductionRange(version=0, found_at=learning().learned_at), one, learning())
        _tell(row, "range.found", _("Found in the data: {range}."))
    if lost and not moved and not new:
        learning()
    return len(lost) + len(moved) + len(new)


def overlap(one: Found, row: ProductionRange) -> float:
    """Months in common over months of either."""
    first, last = month_of(row.first), month_of(row.last)
    common = min(one.last, last) - max(one.first, first) + 1
    either = max(one.last, last) - min(one.first, first) + 1
    return common / either if common > 0 else 0.0


def _pairs(rows: list[ProductionRange], found: list[Found]) -> list[tuple[ProductionRange, Found]]:
    """What goes on as what, the best agreement first; a proposal before one that was lost."""
    agree = [
        (-overlap(one, row), row.state != RangeState.PROPOSED, row.pk, index)
        for row in rows
        for index, one in enumerate(found)
    ]
    by_pk = {row.pk: row for row in rows}
    pairs: list[tuple[ProductionRange, Found]] = []
    taken: set[int] = set()
    for minus, _gone, pk, index in sorted(agree):
        if -minus >= SAME_FROM and pk in by_pk and index not in taken:
            pairs.append((by_pk.pop(pk), found[index]))
            taken.add(index)
    return pairs


def _differs(row: ProductionRange, one: Found) -> bool:
    return bool(row.document != one.document or row.positions != one.positions)


def _write(row: ProductionRange, one: Found, learning: Learning) -> ProductionRange:
    row.system, row.part, row.mode = one.place
    row.positions, row.probability, row.document = one.positions, one.probability, one.document
    row.first, row.last = first_day(one.first), first_day(one.last)
    row.state, row.learning = RangeState.PROPOSED, learning
    row.version += 1
    row.save()
    return row


def range_words(row: ProductionRange) -> str:
    """'production range Mar 2001 to Apr 2004 of TW-BGA-3014 (stays made)'."""
    words = _("production range {first} to {last} of {part} ({mode})")
    first, last = month_words(row.first), month_words(row.last)
    return words.format(first=first, last=last, part=row.part, mode=mode_words(row.mode))


def _tell(row: ProductionRange, kind: str, words: str) -> None:
    trail_record(by=None, kind=kind, words=words.format(range=range_words(row)), link=row.get_absolute_url())
