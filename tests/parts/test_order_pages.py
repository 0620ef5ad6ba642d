"""Suppliers, offers and orders on their pages: what the person of the parts taps, what it does, and what is refused."""

import csv
import datetime as dt
import io
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pypdfium2
import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from parts import services
from parts.models import Lot, Movement, Offer, Order, OrderLine, Part, Supplier
from shop.models import Job, ShopProfile, User
from shop.words import day_words
from tests.diagnostics.bench import words
from tests.parts.shelving import a_part, a_supplier, balance, books_agree

pytestmark = pytest.mark.django_db
As = Callable[[str], Client]


@pytest.fixture
def seal(parts_user: User) -> Part:
    return a_part(parts_user)


@pytest.fixture
def supplier(parts_user: User) -> Supplier:
    return a_supplier(parts_user)


@pytest.fixture
def client(client_as: As) -> Client:
    return client_as("parts")


def a_line(supplier: Supplier, part: Part, by: User, quantity: int = 4, sent: bool = True) -> OrderLine:
    line = services.order_line_add(supplier=supplier, part=part, by=by, quantity=quantity, price=Decimal("2.50"))
    if sent:
        services.order_send(order=line.order, by=by)
        line.order.refresh_from_db()
    return line


def page(client: Client, line: OrderLine) -> str:
    return words(client.get(reverse("parts:order", args=[line.order_id])))


def act(client: Client, line: OrderLine, what: str, **fields: Any) -> Any:
    mark = "g" if what == "give-up" else "l"
    typed = {f"{mark}{line.pk}-{name}": value for name, value in fields.items()}
    return client.post(reverse("parts:order-line-act", args=[line.pk, what]), typed)


def whole(client: Client, line: OrderLine, what: str, **fields: Any) -> Any:
    typed = {f"{what}-{name}": value for name, value in fields.items()}
    return client.post(reverse("parts:order-act", args=[line.order_id, what]), typed)


class TestDraft:
    def test_a_part_is_put_on_the_draft_of_its_supplier(self, client: Client, seal: Part, supplier: Supplier) -> None:
        typed = {"supplier": supplier.pk, "part": seal.number, "quantity": "3", "why": "two cars wait"}
        answer = client.post(reverse("parts:order-add"), typed)
        line = OrderLine.objects.get()
        assert answer["Location"] == f"/orders/{line.order_id}/#line-{line.pk}"
        assert (line.quantity, line.order.state) == (3, "draft")
        shown = page(client, line)
        assert "TW-SEA-0001 is on the draft" in shown
        assert "two cars wait" in shown
        assert line.order.number in words(client.get(reverse("parts:orders")))

    @pytest.mark.parametrize(
        ("typed", "says"),
        [
            ({"part": "TW-ZZZ-9999"}, "No part has this number."),
            ({"quantity": "7"}, "Canvas and Bow delivers TW-SEA-0001 in packs of 5; expected 5 or 10 instead of 7."),
            ({"quantity": "0"}, "0 pieces of TW-SEA-0001: expected 1 to 9999."),
            ({"price": "-1"}, "Price of TW-SEA-0001: expected 0 or more."),
        ],
    )
    def test_what_cannot_be_is_refused_beside_the_form_with_what_was_typed(
        self, client: Client, seal: Part, supplier: Supplier, parts_user: User, typed: dict[str, str], says: str
    ) -> None:
        services.offer_set(part=seal, supplier=supplier, by=parts_user, pack=5)
        sent = {"supplier": supplier.pk, "part": seal.number, "quantity": "5", "why": "kept words"} | typed
        answer = client.post(reverse("parts:order-add"), sent)
        assert answer.status_code == 422
        assert says in words(answer)
        assert 'value="kept words"' in words(answer)
        assert not OrderLine.objects.exists()
        line = a_line(supplier, seal, parts_user, 5, sent=False)
        answer = client.post(reverse("parts:order-add"), {**sent, "order": line.order_id})
        assert line.order.number in words(answer), "refused on the page of the order it was typed on"
        assert says in words(answer)

    def test_a_line_is_changed_and_taken_off(
        self, client: Client, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        line = a_line(supplier, seal, parts_user, sent=False)
        act(client, line, "change", quantity="9", price="3.10")
        line.refresh_from_db()
        assert (line.quantity, line.price) == (9, Decimal("3.10"))
        answer = act(client, line, "change", quantity="x")
        assert (answer.status_code, "Enter a whole number" in words(answer)) == (422, True)
        act(client, line, "strike")
        assert not OrderLine.objects.exists()
        answer = whole(client, line, "send")
        assert "has no line; there is nothing to send." in words(answer)

    def test_a_draft_is_thrown_away(self, client: Client, seal: Part, supplier: Supplier, parts_user: User) -> None:
        line = a_line(supplier, seal, parts_user, sent=False)
        assert whole(client, line, "cancel").status_code == 302
        assert Order.objects.get().state == "cancelled"


class TestOnTheWay:
    def test_sent_with_the_day_that_they_confirmed_and_a_note(
        self, client: Client, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        line = a_line(supplier, seal, parts_user, sent=False)
        yesterday = timezone.localdate() - dt.timedelta(days=1)
        answer = whole(client, line, "send", expected_on=yesterday.isoformat(), note="ring first")
        assert answer.status_code == 422
        assert "has passed; expected today or later." in words(answer)
        assert 'value="ring first"' in words(answer)
        day = timezone.localdate() + dt.timedelta(days=3)
        whole(client, line, "send", expected_on=day.isoformat(), their_reference="CB-77", note="ring first")
        order = Order.objects.get()
        assert (order.state, order.expected_on, order.their_reference, order.note) == (
            "sent",
            day,
            "CB-77",
            "ring first",
        )
        shown = page(client, line)
        assert day_words(day) in shown
        assert "CB-77" in shown

    def test_a_late_order_comes_first_with_its_days_and_on_the_floor_of_who_orders(
        self, client_as: As, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        other = services.supplier_set(by=parts_user, name="Bow Works", lead_days=5)
        on_time, late = a_line(other, seal, parts_user), a_line(supplier, seal, parts_user)
        Order.objects.filter(pk=late.order_id).update(expected_on=timezone.localdate() - dt.timedelta(days=2))
        shown = words(client_as("parts").get(reverse("parts:orders")))
        assert "2 days late" in shown
        assert shown.count("days late") == 1
        assert shown.index(late.order.number) < shown.index(on_time.order.number)
        fragment = client_as("parts").get(reverse("parts:orders-late"), headers={"HX-Request": "true"})
        assert late.order.number in words(fragment)
        assert on_time.order.number not in words(fragment)
        at = f'hx-get="{reverse("parts:orders-late")}"'
        assert at in words(client_as("parts").get("/"))
        assert at not in words(client_as("technician").get("/"))

    def test_received_in_parts_with_batch_and_price_until_all_is_here(
        self, client: Client, supplier: Supplier, parts_user: User
    ) -> None:
        part = a_part(parts_user, tracking="batch")
        line = a_line(supplier, part, parts_user, 4)
        answer = act(client, line, "receive", quantity="3", price="2.40")
        assert "TW-SEA-0001 needs its batch number: it is on the bag or on the part." in words(answer)
        assert 'value="2.40"' in words(answer)
        assert act(client, line, "receive", quantity="3", lot="B7", price="2.40").status_code == 302
        assert (balance(part)[0], Movement.objects.get().price, Lot.objects.get().number) == (3, Decimal("2.40"), "B7")
        shown = page(client, line)
        assert "1 still to come" in shown
        assert "B7" in shown
        act(client, line, "receive", quantity="1", lot="B7")
        assert Order.objects.get().state == "closed"
        assert "It came" not in page(client, line)
        assert line.order.number in words(client.get(reverse("parts:orders"), {"show": "over"}))
        books_agree()

    def test_more_than_ordered_needs_a_reason(
        self, client: Client, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        line = a_line(supplier, seal, parts_user, 4)
        answer = act(client, line, "receive", quantity="5")
        assert (answer.status_code, balance(seal)[0]) == (422, 0)
        assert "5 × TW-SEA-0001 came, 4 of 4 were still to come. Say why you take the surplus." in words(answer)
        act(client, line, "receive", quantity="5", surplus_why="one as a gift")
        assert balance(seal)[0] == 5
        assert "more than ordered: one as a gift" in page(client, line)

    def test_the_rest_is_given_up_and_an_order_is_called_off_with_a_reason(
        self, client: Client, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        line = a_line(supplier, seal, parts_user, 4)
        assert "is called off." in words(whole(client, line, "cancel", why=""))
        act(client, line, "receive", quantity="1")
        assert "Call the order off" not in page(client, line), "pieces of it are here"
        assert "Say why TW-SEA-0001 will not come." in words(act(client, line, "give-up", why=""))
        act(client, line, "give-up", why="no longer made")
        assert Order.objects.get().state == "closed"

    def test_who_keeps_no_shelf_reads_but_is_offered_nothing(
        self, client_as: As, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        line = a_line(supplier, seal, parts_user)
        shown = page(client_as("technician"), line)
        assert seal.number in shown
        assert "<form" not in shown[shown.index("<main") :]
        assert act(client_as("technician"), line, "receive", quantity="1").status_code == 403


class TestPaper:
    def test_the_pdf_says_who_orders_what_from_whom_for_how_much(
        self, client: Client, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        ShopProfile.objects.create(pk=1, name="Verdeckwerk Halden", address="Gerberstraße 14\n40999 Halden")
        services.offer_set(part=seal, supplier=supplier, by=parts_user, their_number="CB <77> & Co")
        other = services.part_add(by=parts_user, number="TW-OIL-0002", name="Oil Müller")
        a_line(supplier, other, parts_user, 3, sent=False)
        line = a_line(supplier, seal, parts_user, 400, sent=False)
        services.order_send(order=line.order, by=parts_user, note="Ring before you come")
        answer = client.get(reverse("parts:order-paper", args=[line.order_id]))
        assert answer["Content-Type"] == "application/pdf"
        pdf = pypdfium2.PdfDocument(answer.content)
        assert pdf[0].get_size() == pytest.approx((595.28, 841.89), abs=0.1)  # A4 in points, ISO 216 (MEM)
        text = " ".join(pdf[0].get_textpage().get_text_range().split())
        for said in (
            "Verdeckwerk Halden", "Gerberstraße 14", "Canvas and Bow", "CB <77> & Co", seal.number, "Oil Müller",
            line.order.number, "EUR 2.50", "EUR 1,000.00", "Sum without tax: EUR 1,007.50", "Ring before you come",
        ):  # fmt: skip
            assert said in text, said
        assert "Draft" not in text

    def test_a_draft_says_so_and_a_line_without_a_price_stays_out_of_the_sum(
        self, client: Client, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        line = services.order_line_add(supplier=supplier, part=seal, by=parts_user, quantity=2)
        answer = client.get(reverse("parts:order-paper", args=[line.order_id]))
        text = " ".join(pypdfium2.PdfDocument(answer.content)[0].get_textpage().get_text_range().split())
        assert "Draft: not ordered yet." in text
        assert "Sum without tax: EUR 0.00" in text
        assert "Lines without a price are not in the sum" in text

    def test_the_table_has_a_row_a_line(self, client: Client, seal: Part, supplier: Supplier, parts_user: User) -> None:
        services.offer_set(part=seal, supplier=supplier, by=parts_user, their_number="=1+1")
        line = a_line(supplier, seal, parts_user)
        answer = client.get(reverse("parts:order-table", args=[line.order_id])).content.decode("utf-8-sig")
        head, row = csv.reader(io.StringIO(answer))
        told = dict(zip(head, row, strict=True))
        assert (told["Part number"], told["Pieces"], told["Sum"], told["Still to come"]) == (
            seal.number,
            "4",
            "10.00",
            "4",
        )
        assert told["Their number"] == "'=1+1", "no formula"


class TestSuppliers:
    def test_taken_in_changed_and_refused_with_what_was_typed(self, client: Client) -> None:
        client.post(reverse("parts:suppliers"), {"name": "Canvas and Bow"})
        found = Supplier.objects.get()
        shown = words(client.get(reverse("parts:suppliers")))
        assert "nobody stated any and nothing came yet" in shown
        answer = client.post(reverse("parts:suppliers"), {"name": "canvas and bow", "note": "second"})
        assert answer.status_code == 409
        assert "canvas and bow is known already." in words(answer)
        assert 'value="second"' in words(answer)
        at = reverse("parts:supplier", args=[found.pk])
        assert "expected 0 to 365" in words(client.post(at, {"name": "Bow", "lead_days": "400"}))
        client.post(at, {"name": "Bow", "lead_days": "5"})
        found.refresh_from_db()
        assert (found.name, found.lead_days) == ("Bow", 5)
        assert "as stated; nothing came yet" in words(client.get(reverse("parts:suppliers")))

    def test_an_offer_is_noted_changed_preferred_and_dropped(
        self, client: Client, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        other, at = services.supplier_set(by=parts_user, name="Bow Works"), reverse("parts:part-offers", args=[seal.pk])
        typed = {"form": "new", "new-supplier": supplier.pk, "new-pack": "5", "new-price": "3.20"}
        answer = client.post(at, typed, headers={"HX-Request": "true"})
        assert "The offer of Canvas and Bow is noted." in words(answer)
        assert "in packs of 5" in words(answer)
        answer = client.post(at, typed | {"new-pack": "0", "new-their_number": "kept"}, headers={"HX-Request": "true"})
        assert answer.status_code == 422
        assert "Pack of TW-SEA-0001: expected 1 to 999 pieces." in words(answer)
        assert 'value="kept"' in words(answer)
        first = Offer.objects.get()
        name = f"o{first.pk}"
        client.post(at, {"form": name, f"{name}-supplier": supplier.pk, f"{name}-pack": "10", f"{name}-price": "3"})
        first.refresh_from_db()
        assert (first.pack, first.price, first.preferred) == (10, Decimal(3), True)
        second = services.offer_set(part=seal, supplier=other, by=parts_user, preferred=False, price=Decimal(9))
        client.post(reverse("parts:offer-act", args=[second.pk, "prefer"]))
        assert [one.pk for one in Offer.objects.filter(preferred=True)] == [second.pk]
        second.refresh_from_db()
        assert second.price == Decimal(9), "the rest stays"
        client.post(reverse("parts:offer-act", args=[second.pk, "drop"]))
        assert Offer.objects.get().preferred


def test_from_the_need_to_the_part_in_the_technicians_hand(
    client_as: As, seal: Part, supplier: Supplier, parts_user: User, job: Job, tech: User
) -> None:
    services.need_add(job=job, part=seal, by=tech, quantity=2)
    client = client_as("parts")
    client.post(reverse("parts:order-add"), {"supplier": supplier.pk, "part": seal.number, "quantity": "2"})
    line = OrderLine.objects.get()
    assert f"{job.number}</a> (2)" in page(client, line), "the order says who waits"

    def floor() -> str:
        return words(client_as("technician").get("/"))

    assert "TW-SEA-0001: not ordered yet" in floor()
    whole(client, line, "send")
    first = Order.objects.get().expected_on
    assert first is not None
    assert f"TW-SEA-0001: expected {day_words(first)}" in floor()
    later = first + dt.timedelta(days=9)
    whole(client, line, "confirm", expected_on=later.isoformat())
    assert f"TW-SEA-0001: expected {day_words(later)}" in floor()
    act(client, line, "receive", quantity="1")
    assert (balance(seal), f"expected {day_words(later)}" in floor()) == ((1, 1, 0), True)
    act(client, line, "receive", quantity="1")
    job.refresh_from_db()
    assert (balance(seal), job.hold) == ((2, 2, 0), "bench")
    assert seal.number not in floor()
    books_agree()


def test_queries_do_not_grow_with_the_lines(
    client: Client, supplier: Supplier, parts_user: User, job: Job, tech: User, django_assert_max_num_queries: Any
) -> None:
    for n in range(6):
        part = a_part(parts_user, f"TW-SEA-000{n}")
        services.need_add(job=job, part=part, by=tech)
        line = a_line(supplier, part, parts_user, sent=False)
    services.order_send(order=line.order, by=parts_user)
    for receipt in line.order.lines.all():
        services.order_receive(line=receipt, by=parts_user, quantity=1)
    for at in (reverse("parts:orders"), reverse("parts:order", args=[line.order_id]), reverse("parts:suppliers")):
        client.get(at)
        with django_assert_max_num_queries(11):
            assert client.get(at).status_code == 200


@pytest.mark.parametrize("name", ["parts:orders", "parts:suppliers", "parts:shelf"])
def test_the_way_about_says_that_orders_lie_under_the_shelf(client: Client, name: str) -> None:
    shown = client.get(reverse(name)).content.decode()
    here = "page" if name == "parts:shelf" else "true"
    assert f'<a href="{reverse("parts:shelf")}" aria-current="{here}">Shelf</a>' in shown
