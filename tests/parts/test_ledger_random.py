"""Whatever people do in whatever order, the books agree; and what is refused leaves no trace."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from parts import services
from parts.models import CountLine, Lot, Movement, Need, Order, OrderLine, Stock, Stocktake
from shop.errors import ShopError
from shop.models import Car, Job, Stage, TrailEntry, User
from shop.services import job_move, job_open
from tests.parts.shelving import a_part, a_supplier, books_agree

pytestmark = pytest.mark.django_db

COUNTED = (Movement, Need, Stock, Lot, Order, OrderLine, Stocktake, CountLine, TrailEntry)
PIECES = st.integers(0, 4)
WHICH = st.integers(0, 7)
ACT = st.tuples(st.integers(0, 20), WHICH, WHICH, PIECES)


class Shop:
    """Two jobs, three parts (one followed by batch), a supplier; each act picks among what is there."""

    def __init__(self, car: Car, by: User) -> None:
        self.by = by
        self.jobs = [job_open(car=car, by=by, title=f"Job {n}", stage=Stage.HERE) for n in range(2)]
        self.parts = [
            a_part(by, "TW-SEA-0001", rebuildable=True),
            a_part(by, "TW-SEA-0002"),
            a_part(by, "TW-SEA-0003", tracking="batch", rebuildable=True),
        ]
        self.supplier = a_supplier(by)

    def acts(self, a: int, b: int, n: int) -> list[Callable[[], Any]]:
        by = self.by
        job, part = self.jobs[a % 2], self.parts[b % 3]
        lot = f"B-{a % 3}" if part.tracking == "batch" else ""
        kept = Lot.objects.filter(part=part, number=lot).first()
        need, movement = _nth(Need, a * 3 + b), _nth(Movement, a * 5 + b)
        line, count = _nth(OrderLine, a + b), Stocktake.objects.last()
        return [
            lambda: services.goods_in(part=part, by=by, quantity=n, lot=lot, price=Decimal(n)),
            lambda: services.goods_in(part=part, by=by, quantity=n + 1, lot=lot),
            lambda: services.scrap(part=part, by=by, quantity=n, why="x", lot=kept, core=a == 7),
            lambda: services.core_in(part=part, by=by, quantity=n),
            lambda: services.rebuilt(part=part, by=by, quantity=n, lot=lot),
            lambda: kept and services.lot_bar(lot=kept, by=by, why="bad" if n else ""),
            lambda: services.need_add(job=job, part=part, by=by, quantity=n, chance=(a + 1) / 8),
            lambda: services.need_add(job=job, part=part, by=by, quantity=n + 1),
            lambda: need and services.need_change(need=need, by=by, quantity=n),
            lambda: need and services.need_drop(need=need, by=by),
            lambda: need and services.need_again(need=need, by=by),
            lambda: services.part_issue(part=part, job=job, by=by, quantity=n, lot=lot if n else ""),
            lambda: services.part_return(part=part, job=job, by=by, quantity=n, lot=lot),
            lambda: movement and services.movement_undo(movement=movement, by=by, why="x"),
            lambda: services.order_line_add(supplier=self.supplier, part=part, by=by, quantity=n),
            lambda: line and services.order_send(order=line.order, by=by),
            lambda: line and services.order_receive(
                line=line, by=by, quantity=n, lot="B-0" if line.part.tracking == "batch" else "",
                surplus_why="x" if a == 7 else "",
            ),
            lambda: services.stocktake_begin(by=by),
            lambda: count and services.count_write(stocktake=count, part=part, by=by, counted=n, lot=kept),
            lambda: count and services.stocktake_close(stocktake=count, by=by),
            lambda: job_move(job=job, by=by, stage=Stage.DONE if n > 2 else Stage.MENDING),
        ]  # fmt: skip


def _nth(model: Any, n: int) -> Any:
    rows = list(model.objects.order_by("pk"))
    return rows[n % len(rows)] if rows else None


def _trace() -> list[Any]:
    balances = list(Stock.objects.order_by("pk").values_list())
    needs = list(Need.objects.order_by("pk").values_list())
    jobs = list(Job.objects.order_by("pk").values_list("hold", "hold_note", "stage"))
    return [[model.objects.count() for model in COUNTED], balances, needs, jobs]


def _refused(act: Callable[[], Any]) -> str:
    """The sentence with which it is refused; '' where it is done."""
    try:
        act()
    except ShopError as error:
        return error.words
    return ""


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(ACT, min_size=5, max_size=40))
def test_the_books_agree_after_any_acts(car: Car, owner: User, acts: list[tuple[int, int, int, int]]) -> None:
    with transaction.atomic():
        shop = Shop(car, owner)
        for which, a, b, n in acts:
            before = _trace()
            if words := _refused(shop.acts(a, b, n)[which]):
                assert _trace() == before, words
            books_agree()
        transaction.set_rollback(True)
