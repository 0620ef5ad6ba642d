"""Parts on a shelf, and whether its books agree."""

from typing import Any

from django.db.models import F, Sum

from parts import services
from parts.models import Lot, Movement, Need, NeedState, Part, Stock, Supplier, Tracking
from shop.models import User

SWITCH = "TW-BGB-3120"  # original at BG3 of rht-trio
CYLINDER = "TW-MMA-5002"  # original at MM1 and MM2
SEAL = "TW-SEA-0001"


def a_part(by: User, number: str = SEAL, **facts: Any) -> Part:
    part = services.part_add(by=by, number=number, name=f"Part {number[-4:]}")
    known: dict[str, Any] = {
        "name": part.name, "tracking": "none", "rebuildable": False, "minimum": 0, "place": "", "old_usable": True,
    }  # fmt: skip
    return services.part_change(part=part, by=by, **(known | facts)) if facts else part


def shelf_keys(by: User, switch: Part) -> dict[str, Any]:
    """A batch, a movement and a count that is open, and the keys of their addresses."""
    seal = a_part(by, "TW-SEA-0099", tracking="batch")
    moved = put(seal, by, 3, lot="L-1")
    line = services.count_write(
        stocktake=(count := services.stocktake_begin(by=by)), part=seal, by=by, counted=3, lot=moved.lot
    )  # fmt: skip
    return {
        "part": switch.number, "part-act": (switch.pk, "barcode"), "part-moves": seal.pk, "move-undo": moved.pk,
        "lot": moved.lot_id, "count": count.pk, "count-close": count.pk, "count-strike": line.pk,
    }  # fmt: skip


def put(part: Part, by: User, quantity: int, lot: str = "") -> Movement:
    return services.goods_in(part=part, by=by, quantity=quantity, lot=lot)


def a_supplier(by: User, lead_days: int | None = 5) -> Supplier:
    return services.supplier_set(by=by, name="Canvas and Bow", lead_days=lead_days)


def balance(part: Part) -> tuple[int, int, int]:
    """Pieces on the shelf, of those reserved, and cores."""
    stock = Stock.objects.filter(part=part).first() or Stock(part=part)
    return stock.shelf, stock.reserved, stock.cores


def books_agree() -> None:
    """The balances are what the movements add up to, at every movement and now; needs and batches agree with them."""
    for part in Part.objects.all():
        moves = list(Movement.objects.filter(part=part).order_by("seq"))
        assert [one.seq for one in moves] == list(range(1, len(moves) + 1)), part
        shelf = reserved = cores = 0
        for one in moves:
            shelf, reserved, cores = shelf + one.shelf, reserved + one.reserved, cores + one.cores
            assert (one.shelf_after, one.reserved_after, one.cores_after) == (shelf, reserved, cores), one
            assert 0 <= reserved <= shelf, one
            assert cores >= 0, one
        assert balance(part) == (shelf, reserved, cores), part
        assert sum(Stock.objects.filter(part=part).values_list("moves", flat=True)) == len(moves), part
        needs = Need.objects.filter(part=part)
        assert sum(needs.filter(state=NeedState.OPEN).values_list("held", flat=True)) == reserved, part
        if part.tracking != Tracking.NONE:
            _lots_agree(part, shelf, reserved)
    for need in Need.objects.all():
        out = -sum(need.movements.values_list("shelf", flat=True))
        assert need.issued == min(out, need.quantity), need
    for line in _lines_with_receipts():
        assert line.came == line.received, line


def _lots_agree(part: Part, shelf: int, reserved: int) -> None:
    lots = list(Lot.objects.filter(part=part))
    for lot in lots:
        assert lot.quantity == sum(lot.movements.values_list("shelf", flat=True)), lot
    assert sum(lot.quantity for lot in lots) == shelf, part
    assert reserved <= sum(lot.quantity for lot in lots if not lot.barred), part


def _lines_with_receipts() -> Any:
    from parts.models import OrderLine

    return OrderLine.objects.annotate(came=Sum("receipts__shelf")).filter(came__isnull=False).annotate(n=F("received"))
