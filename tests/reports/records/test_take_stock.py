"""The shelf taken along and brought into an empty shop: the same pieces lie there."""

import io
import zipfile
from typing import Any

import pytest
from django.db.models import QuerySet

from parts.models import Lot, Movement, Need, Part, Stock, Tracking
from parts.services import goods_in, lot_bar, need_add
from reports import take
from shop.models import Job, User
from tests.parts.shelving import SEAL, SWITCH, a_part, books_agree, put
from tests.reports.records.conftest import Bring

pytestmark = pytest.mark.django_db


def _taken() -> str:
    out = io.BytesIO()
    take.export_write(out)
    return zipfile.ZipFile(out).read("again/stock.csv").decode()


def _emptied() -> None:
    """The ledger refuses to be deleted; here it is another shop's that never had one."""
    rows = QuerySet(Movement)
    rows._raw_delete(rows.db)
    for model in (Need, Stock, Lot, Part):
        model.objects.all().delete()


def _shelf() -> dict[str, Any]:
    return dict(Stock.objects.values_list("part__number", "shelf"))


def test_the_same_pieces_lie_in_the_shop_that_it_is_brought_into(
    bring: Bring, owner: User, tech: User, parts_user: User, job: Job
) -> None:
    seal = a_part(parts_user, SEAL, place="A3")
    put(seal, parts_user, 5)
    need_add(job=job, part=seal, by=tech, quantity=2)  # reserved pieces lie there as well
    switch = a_part(parts_user, SWITCH, tracking="batch", place="B1")
    put(switch, parts_user, 3, lot="L-1")
    put(switch, parts_user, 4, lot="L-2")
    a_part(parts_user, "TW-SEA-0007", place="C9")
    was, table = _shelf(), _taken()
    assert was == {SEAL: 5, SWITCH: 7}
    assert {fate.fate for fate in bring(table).fates} == {"same"}
    _emptied()
    Part.objects.create(number=SWITCH, name="Switch", tracking=Tracking.BATCH)
    bring(table)
    assert {number: pieces for number, pieces in _shelf().items() if pieces} == was
    assert dict(Lot.objects.values_list("number", "quantity")) == {"L-1": 3, "L-2": 4}
    assert dict(Part.objects.values_list("number", "place")) == {SEAL: "A3", SWITCH: "B1", "TW-SEA-0007": "C9"}
    books_agree()


def test_a_barred_batch_does_not_come_back_as_a_good_one(parts_user: User) -> None:
    switch = a_part(parts_user, SWITCH, tracking="batch")
    put(switch, parts_user, 3, lot="L-1")
    barred = goods_in(part=switch, by=parts_user, quantity=2, lot="L-2").lot
    assert barred is not None
    lot_bar(lot=barred, by=parts_user, why="two of them stuck")
    table = _taken()
    assert "L-1" in table
    assert "L-2" not in table
