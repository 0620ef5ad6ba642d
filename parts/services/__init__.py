"""The writes of the catalogue and the shelf, each under one name."""

from parts.services.catalogue import barcode_add, fit_add, part_add, part_change, part_supersede
from parts.services.counts import count_strike, count_write, stocktake_begin, stocktake_close
from parts.services.needs import (
    need_add,
    need_again,
    need_change,
    need_drop,
    need_reserve,
    part_issue,
    part_return,
)
from parts.services.orders import (
    order_cancel,
    order_confirm,
    order_line_add,
    order_line_change,
    order_line_give_up,
    order_receive,
    order_send,
)
from parts.services.shelf import core_in, goods_in, lot_bar, rebuilt, scrap
from parts.services.suppliers import offer_drop, offer_set, supplier_set
from parts.services.undo import movement_undo

__all__ = [
    "barcode_add",
    "core_in",
    "count_strike",
    "count_write",
    "fit_add",
    "goods_in",
    "lot_bar",
    "movement_undo",
    "need_add",
    "need_again",
    "need_change",
    "need_drop",
    "need_reserve",
    "offer_drop",
    "offer_set",
    "order_cancel",
    "order_confirm",
    "order_line_add",
    "order_line_change",
    "order_line_give_up",
    "order_receive",
    "order_send",
    "part_add",
    "part_change",
    "part_issue",
    "part_return",
    "part_supersede",
    "rebuilt",
    "scrap",
    "stocktake_begin",
    "stocktake_close",
    "supplier_set",
]
