"""The shelf's pages: found by a scan, taken in, counted, taken back, called back."""

import datetime as dt
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from parts import services
from parts.codes import label_code
from parts.models import CountLine, Lot, Movement, Part, PlanLine, ShelfPlan, Stocktake
from parts.selectors.scan import part_scanned
from shop.models import Job, User
from tests.parts.shelving import a_part, a_supplier, balance, books_agree, put

BARCODE = "4006381333931"


@pytest.fixture
def seal(parts_user: User) -> Part:
    return a_part(parts_user, "TW-SEA-0001", place="B2")


@pytest.fixture
def parts(client_as: Callable[[str], Client]) -> Client:
    return client_as("parts")


def _page(part: Part) -> str:
    return reverse("parts:part", args=[part.number])


class TestScan:
    def test_label_number_and_barcode_name_a_part_and_nothing_less_does(self, seal: Part, parts_user: User) -> None:
        services.barcode_add(part=seal, by=parts_user, barcode=BARCODE)
        for code in (label_code(seal.number), seal.number.lower(), f" {BARCODE}\n"):
            assert part_scanned(code) == seal
        for code in ("", "TW-SEA", "TW-SHELF:", BARCODE[:-1], label_code("TW-SEA")):
            assert part_scanned(code) is None

    def test_a_number_goes_before_a_barcode_of_another_part(self, seal: Part, parts_user: User) -> None:
        other = a_part(parts_user, BARCODE)
        services.barcode_add(part=seal, by=parts_user, barcode=BARCODE)
        assert part_scanned(BARCODE) == other

    def test_enter_goes_to_the_part_and_words_give_the_list(self, seal: Part, parts: Client) -> None:
        shelf = reverse("parts:shelf")
        answer = parts.get(shelf, {"q": label_code(seal.number)})
        assert (answer.status_code, answer["Location"]) == (302, _page(seal))
        assert seal.number in parts.get(shelf, {"q": "b2"}).text
        # As one types, the list stays: a number can be the beginning of another.
        assert parts.get(shelf, {"q": seal.number}, headers={"HX-Request": "true"}).status_code == 200

    def test_an_unknown_barcode_is_given_to_a_part_and_work_goes_on(self, seal: Part, parts: Client) -> None:
        goods = reverse("parts:goods-in")
        page = parts.get(goods, {"code": BARCODE})
        assert f"No part here has “{BARCODE}”" in page.text
        attach = reverse("parts:barcode")
        assert f"{attach}?barcode={BARCODE}&amp;then=goods-in" in page.text
        refused = parts.post(attach, {"barcode": BARCODE, "part": "TW-NOT-THERE", "then": "goods-in"})
        assert refused.status_code == 422
        assert "No part has this number." in refused.text
        done = parts.post(attach, {"barcode": BARCODE, "part": seal.number, "then": "goods-in"})
        assert done["Location"] == f"{goods}?code={seal.number}"
        assert part_scanned(BARCODE) == seal

    def test_a_number_with_a_slash_has_a_page(self, parts_user: User, parts: Client) -> None:
        assert parts.get(_page(a_part(parts_user, "TW/9 & 1"))).status_code == 200


class TestList:
    def test_what_is_there_promised_coming_and_when_it_runs_out(
        self, seal: Part, parts_user: User, job: Job, parts: Client
    ) -> None:
        put(seal, parts_user, 7)
        services.need_add(job=job, part=seal, by=parts_user, quantity=3)
        line = services.order_line_add(supplier=a_supplier(parts_user), part=seal, by=parts_user, quantity=14)
        services.order_send(order=line.order, by=parts_user, expected_on=dt.date(2031, 3, 9))
        for day, on in (("2031-05-01", 1), ("2031-06-17", 0)):  # the newest plan is what counts
            plan = ShelfPlan.objects.create(
                as_of=timezone.localdate(), months=6, made_at=timezone.now() - dt.timedelta(days=on), fingerprint="x"
            )
            PlanLine.objects.create(
                plan=plan, part=seal, suggested=0, reorder_point=1, up_to=2, document={"runs_out_on": day}
            )
        page = parts.get(reverse("parts:shelf")).text
        row = page[page.index(">TW-SEA-0001<") :]
        for label, shown in (("On the shelf", "7"), ("Reserved", "3"), ("On order", "14")):
            cell = row[row.index(f'data-label="{label}"') :]
            assert shown in cell[: cell.index("</td>")]
        assert "9 Mar 2031" in row
        assert "17 Jun 2031" in row
        assert "1 May 2031" not in row

    def test_queries_do_not_grow_with_the_rows(self, seal: Part, parts: Client) -> None:
        parts.get(reverse("parts:shelf"))
        with CaptureQueriesContext(connection) as few:
            parts.get(reverse("parts:shelf"))
        Part.objects.bulk_create(Part(number=f"TW-XXX-{n:04d}", name="Clip") for n in range(40))
        with CaptureQueriesContext(connection) as many:
            parts.get(reverse("parts:shelf"))
        assert len(few) == len(many) < 12


class TestPart:
    def _act(self, client: Client, part: Part, act: str, **sent: object) -> int:
        return client.post(reverse("parts:part-act", args=[part.pk, act]), sent).status_code

    def test_pieces_come_in_go_to_scrap_and_the_ledger_tells_it(
        self, seal: Part, parts: Client, parts_user: User
    ) -> None:
        assert self._act(parts, seal, "goods-in", quantity=5, price="2.50") == 302
        assert self._act(parts, seal, "scrap", quantity=2, why="torn") == 302
        assert balance(seal) == (3, 0, 0)
        book = parts.get(reverse("parts:part-moves", args=[seal.pk])).text
        assert book.index("torn") < book.index("2.50")  # the newest first
        assert "−2" in book
        books_agree()

    def test_what_is_refused_comes_back_with_the_reason_and_what_was_typed(self, seal: Part, parts: Client) -> None:
        answer = parts.post(reverse("parts:part-act", args=[seal.pk, "scrap"]), {"quantity": 4, "why": "torn seam"})
        assert answer.status_code == 409
        assert "4 asked for, 0 on the shelf" in answer.text
        assert "torn seam" in answer.text
        assert not Movement.objects.exists()

    def test_what_belongs_to_an_order_is_received_against_it(self, seal: Part, parts: Client, parts_user: User) -> None:
        line = services.order_line_add(supplier=a_supplier(parts_user), part=seal, by=parts_user, quantity=4)
        services.order_send(order=line.order, by=parts_user)
        assert self._act(parts, seal, "goods-in", line=line.pk, quantity=4) == 302
        line.refresh_from_db()
        assert line.received == 4

    def test_a_core_is_taken_back_and_rebuilt(self, parts: Client, parts_user: User) -> None:
        pump = a_part(parts_user, "TW-GPA-0001", rebuildable=True, tracking="serial")
        assert self._act(parts, pump, "core", quantity=1) == 302
        assert self._act(parts, pump, "rebuilt", quantity=1) == 422  # its serial number is missing
        assert self._act(parts, pump, "rebuilt", quantity=1, lot="SN-1") == 302
        assert balance(pump) == (1, 0, 0)

    def test_a_chain_is_told_and_a_ring_refused(self, seal: Part, parts: Client, parts_user: User) -> None:
        new, newest = (a_part(parts_user, f"TW-SEA-000{n}") for n in (2, 3))
        put(seal, parts_user, 6)
        assert self._act(parts, seal, "supersede", new=new.number) == 302
        assert self._act(parts, new, "supersede", new=newest.number) == 302
        answer = parts.post(reverse("parts:part-act", args=[newest.pk, "supersede"]), {"new": seal.number})
        assert answer.status_code == 409
        assert "a part cannot be superseded by itself" in answer.text
        page = parts.get(_page(newest)).text
        assert "6 pieces left, may be fitted in its place" in page
        services.part_change(
            part=new, by=parts_user, name="n", tracking="none", rebuildable=False, minimum=0, place="", old_usable=False
        )
        # A step that does not allow it: nothing before it may be fitted either.
        assert parts.get(_page(newest)).text.count("not to be fitted in its place") == 2

    def test_a_movement_is_taken_back_once_with_a_reason(self, seal: Part, parts: Client, parts_user: User) -> None:
        move = put(seal, parts_user, 5)
        undo = reverse("parts:move-undo", args=[move.pk])
        assert parts.post(undo, {"why": ""}).status_code == 422
        assert parts.post(undo, {"why": "typed twice"}).status_code == 302
        assert balance(seal) == (0, 0, 0)
        book = parts.get(reverse("parts:part-moves", args=[seal.pk])).text
        assert "typed twice" in book
        assert undo not in book  # what is taken back is not offered again
        again = parts.post(undo, {"why": "again"})
        assert again.status_code == 409
        assert "taken back already" in again.text

    def test_old_movements_are_on_pages_of_their_own(self, seal: Part, parts: Client, parts_user: User) -> None:
        for _n in range(42):
            put(seal, parts_user, 1)
        address = reverse("parts:part-moves", args=[seal.pk])
        with CaptureQueriesContext(connection) as queries:
            assert f"{address}?before=3" in parts.get(address).text
        assert len(queries) < 12
        older = parts.get(address, {"before": "3"}).text
        assert older.count("Received") == 2
        assert "?before=" not in older

    def test_who_only_hands_out_is_offered_no_more(self, seal: Part, client_as: Callable[[str], Client]) -> None:
        page = client_as("technician").get(_page(seal)).text
        assert "Take pieces in" not in page
        assert "Take pieces in" in client_as("parts").get(_page(seal)).text


class TestBatch:
    def test_a_batch_is_barred_and_the_cars_that_carry_it_are_named(
        self, job: Job, parts: Client, parts_user: User
    ) -> None:
        oil = a_part(parts_user, "TW-OIL-0001", tracking="batch")
        put(oil, parts_user, 6, lot="L-77")
        services.part_issue(part=oil, job=job, by=parts_user, quantity=2, lot="L-77")
        batch = Lot.objects.get()
        address = reverse("parts:lot", args=[batch.pk])
        assert parts.post(address, {"why": "water in it"}).status_code == 302
        page = parts.get(address).text
        assert job.number in page
        assert job.car.plate in page
        assert "water in it" in parts.get(_page(oil)).text
        assert parts.post(address, {"why": ""}).status_code == 302
        batch.refresh_from_db()
        assert batch.barred == ""
        assert parts.post(address, {"why": ""}).status_code == 409


class TestGoodsIn:
    def test_one_after_the_other(self, seal: Part, parts: Client) -> None:
        goods = reverse("parts:goods-in")
        assert f'value="{seal.number}"' in parts.get(goods, {"code": label_code(seal.number)}).text
        page = parts.post(goods, {"code": seal.number, "quantity": 3}, follow=True).text
        assert "3 × TW-SEA-0001 taken in. It goes to B2." in page
        assert "Taken in by you today" in page
        assert balance(seal) == (3, 0, 0)

    def test_a_batch_that_is_missing_is_asked_for(self, parts: Client, parts_user: User) -> None:
        oil = a_part(parts_user, "TW-OIL-0001", tracking="batch")
        answer = parts.post(reverse("parts:goods-in"), {"code": oil.number, "quantity": 3})
        assert answer.status_code == 422
        assert "needs its batch number" in answer.text


class TestCount:
    def test_what_is_expected_is_hidden_until_it_is_counted_and_differences_are_booked(
        self, seal: Part, parts: Client, parts_user: User
    ) -> None:
        put(seal, parts_user, 17)
        begun = parts.post(reverse("parts:counts"), {"note": "row B"})
        address, count = begun["Location"], Stocktake.objects.get()
        page = parts.get(address, {"code": seal.number}).text
        assert "Pieces that lie there" in page
        assert "17" not in page[page.index("<main") : page.index("Not counted yet")]
        told = parts.post(address, {"code": seal.number, "counted": 15}, follow=True).text
        assert "15 counted, 17 expected." in told
        assert "−2" in told
        assert balance(seal) == (17, 0, 0)
        assert reverse("parts:count", args=[count.pk]) in parts.get(reverse("parts:counts")).text  # taken up again
        assert parts.post(reverse("parts:count-close", args=[count.pk])).status_code == 302
        assert balance(seal) == (15, 0, 0)
        late = parts.post(address, {"code": seal.number, "counted": 9})
        assert late.status_code == 409
        books_agree()

    def test_a_line_is_struck_and_counts_as_not_counted(self, seal: Part, parts: Client, parts_user: User) -> None:
        put(seal, parts_user, 4)
        address = parts.post(reverse("parts:counts"))["Location"]
        parts.post(address, {"code": seal.number, "counted": 0})
        parts.post(reverse("parts:count-strike", args=[CountLine.objects.get().pk]))
        assert "Not counted yet" in parts.get(address).text
        assert not CountLine.objects.exists()

    def test_a_batch_that_never_came_is_no_batch(self, parts: Client, parts_user: User) -> None:
        oil = a_part(parts_user, "TW-OIL-0001", tracking="batch")
        put(oil, parts_user, 6, lot="L-77")
        address = parts.post(reverse("parts:counts"))["Location"]
        answer = parts.post(address, {"code": oil.number, "lot": "L-78", "counted": 6})
        assert answer.status_code == 422
        assert "No such batch or serial number" in answer.text
        assert parts.post(address, {"code": oil.number, "lot": "L-77", "counted": 6}).status_code == 302
