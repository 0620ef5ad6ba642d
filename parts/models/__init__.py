"""The catalogue, the shelf's ledger, what jobs need, orders, counts and the shelf plan."""

from parts.models.catalogue import Fit, Offer, Part, PartCode, Supplier, Tracking
from parts.models.counts import CountLine, Stocktake
from parts.models.ledger import Lot, Movement, MovementKind, Stock
from parts.models.needs import Need, NeedSource, NeedState
from parts.models.orders import Order, OrderLine, OrderState
from parts.models.plan import Decision, PlanLine, ShelfPlan, ShelfPolicy

__all__ = [
    "CountLine",
    "Decision",
    "Fit",
    "Lot",
    "Movement",
    "MovementKind",
    "Need",
    "NeedSource",
    "NeedState",
    "Offer",
    "Order",
    "OrderLine",
    "OrderState",
    "Part",
    "PartCode",
    "PlanLine",
    "ShelfPlan",
    "ShelfPolicy",
    "Stock",
    "Stocktake",
    "Supplier",
    "Tracking",
]
