"""Bringing the stock of a shelf: it opens the ledger once, and never writes over what the ledger knows better."""

import pytest

from parts.models import Lot, Movement, Need, Part, Stock, Tracking
from parts.services import goods_in, need_add
from reports.bring import NotBrought
from shop.models import Car, Hold, User
from shop.services import job_open
from tests.reports.records.conftest import Bring, fates

pytestmark = pytest.mark.django_db

TABLE = "Teilenummer;Bezeichnung;Bestand;Lagerplatz\nTW-BGA-1;Latch switch;4;A3\nTW-MMB-2;Cylinder seal set;0;B1\n"


def test_stock_comes_with_its_parts_and_opens_the_ledger(bring: Bring) -> None:
    assert fates(bring(TABLE)) == [(2, "new"), (3, "new")]
    switch, seals = Part.objects.order_by("number")
    assert (switch.name, switch.place, switch.stock.shelf) == ("Latch switch", "A3", 4)
    assert not Stock.objects.filter(part=seals).exists()
    movement = Movement.objects.get()
    assert (movement.kind, movement.shelf, movement.shelf_after) == ("received", 4, 4)
    assert movement.why == "brought from the old records"


def test_the_same_stock_twice_changes_nothing(bring: Bring) -> None:
    bring(TABLE)
    assert fates(bring(TABLE)) == [(2, "same"), (3, "same")]
    assert Movement.objects.count() == 1


def test_another_place_is_a_change_and_another_number_is_a_count(bring: Bring, parts_user: User) -> None:
    bring(TABLE)
    assert fates(bring(TABLE.replace("A3", "C9"))) == [(2, "changed"), (3, "same")]
    assert Part.objects.get(number="TW-BGA-1").place == "C9"
    goods_in(part=Part.objects.get(number="TW-BGA-1"), by=parts_user, quantity=1)
    with pytest.raises(NotBrought, match="The ledger has 5 × TW-BGA-1; count the shelf where it is wrong"):
        bring(TABLE)


def test_what_a_job_waits_for_is_reserved_as_soon_as_it_is_brought(bring: Bring, tech: User, car: Car) -> None:
    part = Part.objects.create(number="TW-BGA-1", name="Latch switch")
    job = job_open(car=car, by=tech, title="Roof stops", stage="here")
    need = need_add(job=job, part=part, by=tech, quantity=2)
    job.refresh_from_db()
    assert job.hold == Hold.PART
    bring(TABLE)
    job.refresh_from_db()
    assert (job.hold, Need.objects.get(pk=need.pk).held) == (Hold.BENCH, 2)


def test_batches_come_one_row_each(bring: Bring) -> None:
    part = Part.objects.create(number="TW-1", name="Switch", tracking=Tracking.BATCH)
    table = "Part number,Quantity,Batch\nTW-1,4,L7\ntw-1,2,L8\n"
    assert fates(bring(table)) == [(2, "new"), (3, "new")]
    assert fates(bring(table)) == [(2, "same"), (3, "same")]
    assert [(lot.number, lot.quantity) for lot in Lot.objects.order_by("number")] == [("L7", 4), ("L8", 2)]
    assert Stock.objects.get(part=part).shelf == 6
    assert [row.shelf_after for row in Movement.objects.order_by("seq")] == [4, 6]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("TW-1,Switch,-1,", "“-1” is no whole number"),
        ("TW-1,Switch,,", "The quantity is missing"),
        ("TW-1,,3,", "not in the catalogue, and the file gives no name"),
        ("TW-1,Switch,3,L1", "say there first that it is followed by batch"),
        ("TW-B,Switch,3,", "followed by batch or serial number; the file gives none"),
        ("TW-S,Switch,2,S1", "a serial number is of one piece"),
        ("TW-N,Switch,2,S1", "not followed by batch or serial number"),
        (",Switch,2,", "The part number is missing"),
        ("TW-9,Switch,2.5,", "2.5"),
    ],
)
def test_rows_of_stock_that_cannot_be_leave_nothing(bring: Bring, row: str, words: str) -> None:
    Part.objects.create(number="TW-B", name="b", tracking=Tracking.BATCH)
    Part.objects.create(number="TW-S", name="s", tracking=Tracking.SERIAL)
    Part.objects.create(number="TW-N", name="n")
    with pytest.raises(NotBrought) as caught:
        bring(f"Part number,Name,Quantity,Batch\nTW-OK,Good,1,\n{row}\n")
    assert words in str(caught.value)
    assert not Part.objects.filter(number="TW-OK").exists()
    assert not Movement.objects.exists()


def test_a_part_twice_in_a_file_is_refused(bring: Bring) -> None:
    table = "Part number,Name,Quantity\nTW-1,a,1\ntw-1,a,1\n"
    with pytest.raises(NotBrought, match="The same stands in row 2 already"):
        bring(table)
