"""Orders and suppliers: what a parts manager drafts, sends, gets in and gives up, and what is refused."""

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from parts import services
from parts.models import Movement, Offer, Order, OrderLine, Part, Supplier
from shop.errors import Conflict, Refused, ShopError
from shop.models import Job, TrailEntry, User
from tests.parts.shelving import a_part, a_supplier, balance, books_agree

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books(db: None) -> Iterator[None]:
    yield
    books_agree()


@pytest.fixture
def seal(parts_user: User) -> Part:
    return a_part(parts_user)


@pytest.fixture
def supplier(parts_user: User) -> Supplier:
    return a_supplier(parts_user)


def drafted(supplier: Supplier, part: Part, by: User, quantity: int = 4, **more: Any) -> OrderLine:
    return services.order_line_add(supplier=supplier, part=part, by=by, quantity=quantity, **more)


def sent(supplier: Supplier, part: Part, by: User, quantity: int = 4) -> OrderLine:
    line = drafted(supplier, part, by, quantity)
    services.order_send(order=line.order, by=by)
    return line


class TestDrafts:
    def test_one_draft_a_supplier_and_one_line_a_part(self, seal: Part, supplier: Supplier, parts_user: User) -> None:
        first = drafted(supplier, seal, parts_user, 2)
        again = drafted(supplier, seal, parts_user, 3, why="two cars wait")
        assert (again.pk, again.quantity, again.why) == (first.pk, 5, "two cars wait")
        assert Order.objects.count() == 1

    def test_the_offer_gives_the_price_and_the_pack(self, seal: Part, supplier: Supplier, parts_user: User) -> None:
        services.offer_set(part=seal, supplier=supplier, by=parts_user, price=Decimal("3.20"), pack=5)
        with pytest.raises(ShopError, match=r"delivers TW-SEA-0001 in packs of 5; expected 5 or 10 instead of 7"):
            drafted(supplier, seal, parts_user, 7)
        line = drafted(supplier, seal, parts_user, 10)
        assert line.price == Decimal("3.20")
        with pytest.raises(ShopError, match="in packs of 5; expected 5 instead of 3"):
            services.order_line_change(line=line, by=parts_user, quantity=3)

    @pytest.mark.parametrize("quantity", [0, -2, 10_000])
    def test_numbers_that_cannot_be_are_refused(
        self, seal: Part, supplier: Supplier, parts_user: User, quantity: int
    ) -> None:
        with pytest.raises(ShopError, match=f"^{quantity} pieces of {seal.number}: expected 1 to 9999.$"):
            drafted(supplier, seal, parts_user, quantity)

    def test_a_price_below_nought_is_refused(self, seal: Part, supplier: Supplier, parts_user: User) -> None:
        for act in (
            lambda: drafted(supplier, seal, parts_user, price=Decimal(-1)),
            lambda: services.offer_set(part=seal, supplier=supplier, by=parts_user, price=Decimal(-1)),
        ):
            with pytest.raises(ShopError, match=f"Price of {seal.number}: expected 0 or more"):
                act()

    def test_a_line_is_changed_and_taken_off(self, seal: Part, supplier: Supplier, parts_user: User) -> None:
        line = drafted(supplier, seal, parts_user)
        changed = services.order_line_change(line=line, by=parts_user, quantity=9)
        assert changed is not None
        assert changed.quantity == 9
        assert services.order_line_change(line=line, by=parts_user, quantity=0) is None
        with pytest.raises(ShopError, match="has no line; there is nothing to send"):
            services.order_send(order=line.order, by=parts_user)

    def test_who_keeps_no_shelf_orders_nothing(self, seal: Part, supplier: Supplier, tech: User) -> None:
        with pytest.raises(Refused):
            drafted(supplier, seal, tech)


class TestSent:
    def test_no_day_is_made_up_for_a_supplier_of_whom_nobody_knows_any(self, seal: Part, parts_user: User) -> None:
        line = drafted(a_supplier(parts_user, None), seal, parts_user)
        assert services.order_send(order=line.order, by=parts_user).expected_on is None

    def test_a_day_that_has_passed_is_refused(self, seal: Part, supplier: Supplier, parts_user: User) -> None:
        line, yesterday = drafted(supplier, seal, parts_user), timezone.localdate() - dt.timedelta(days=1)
        with pytest.raises(ShopError, match="has passed; expected today or later"):
            services.order_send(order=line.order, by=parts_user, expected_on=yesterday)
        services.order_send(order=line.order, by=parts_user)
        with pytest.raises(ShopError, match="has passed; expected today or later"):
            services.order_confirm(order=line.order, by=parts_user, expected_on=yesterday)

    def test_what_was_sent_is_not_changed_or_sent_again(self, seal: Part, supplier: Supplier, parts_user: User) -> None:
        line = sent(supplier, seal, parts_user)
        for act in (
            lambda: services.order_line_change(line=line, by=parts_user, quantity=1),
            lambda: services.order_send(order=line.order, by=parts_user),
        ):
            with pytest.raises(Conflict, match="is “Sent”; expected “Draft”"):
                act()
        assert drafted(supplier, seal, parts_user).order_id != line.order_id, "another draft is begun"

    def test_what_came_is_on_the_shelf_and_the_last_piece_closes_the_order(
        self, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        line = sent(supplier, seal, parts_user, 4)
        services.order_receive(line=line, by=parts_user, quantity=3)
        assert (balance(seal)[0], Order.objects.get().state) == (3, "sent")
        services.order_receive(line=line, by=parts_user, quantity=1, price=Decimal("2.50"))
        assert (balance(seal)[0], Order.objects.get().state) == (4, "closed")
        assert Movement.objects.latest("pk").price == Decimal("2.50")
        with pytest.raises(Conflict, match="is “All here”; expected “Sent”"):
            services.order_receive(line=line, by=parts_user, quantity=1)

    def test_more_than_was_ordered_is_refused_and_taken_with_a_reason(
        self, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        line = sent(supplier, seal, parts_user, 4)
        with pytest.raises(ShopError, match=rf"5 × {seal.number} came, 4 of 4 were still to come\. Say why you take"):
            services.order_receive(line=line, by=parts_user, quantity=5)
        assert balance(seal)[0] == 0
        movement = services.order_receive(line=line, by=parts_user, quantity=5, surplus_why="one as a gift")
        line.refresh_from_db()
        assert (balance(seal)[0], line.received, line.surplus_why) == (5, 5, "one as a gift")
        assert movement.why == "one as a gift"

    def test_what_will_not_come_closes_the_order(self, seal: Part, supplier: Supplier, parts_user: User) -> None:
        line = sent(supplier, seal, parts_user, 4)
        services.order_receive(line=line, by=parts_user, quantity=3)
        with pytest.raises(ShopError, match=f"Say why {seal.number} will not come"):
            services.order_line_give_up(line=line, by=parts_user, why="")
        services.order_line_give_up(line=line, by=parts_user, why="no longer made")
        assert Order.objects.get().state == "closed"

    def test_a_receipt_taken_back_opens_the_order_again(self, seal: Part, supplier: Supplier, parts_user: User) -> None:
        line = sent(supplier, seal, parts_user, 4)
        movement = services.order_receive(line=line, by=parts_user, quantity=4)
        services.movement_undo(movement=movement, by=parts_user, why="another part in the bag")
        line.refresh_from_db()
        assert (balance(seal)[0], line.open, Order.objects.get().state) == (0, 4, "sent")
        services.order_receive(line=line, by=parts_user, quantity=4)

    def test_an_order_is_called_off_until_pieces_of_it_are_here(
        self, seal: Part, supplier: Supplier, parts_user: User, job: Job, tech: User
    ) -> None:
        services.need_add(job=job, part=seal, by=tech)
        line = sent(supplier, seal, parts_user)
        with pytest.raises(ShopError, match=r"Say why P.* is called off"):
            services.order_cancel(order=line.order, by=parts_user, why="")
        services.order_cancel(order=line.order, by=parts_user, why="too dear")
        job.refresh_from_db()
        assert job.hold_note == f"{seal.number}: not ordered yet"
        with pytest.raises(Conflict, match="is over already"):
            services.order_cancel(order=line.order, by=parts_user, why="x")
        other = sent(supplier, seal, parts_user)
        services.order_receive(line=other, by=parts_user, quantity=1)
        with pytest.raises(Conflict, match="are here; give up what is still to come"):
            services.order_cancel(order=other.order, by=parts_user, why="x")

    def test_the_trail_tells_what_became_of_it(self, seal: Part, supplier: Supplier, parts_user: User) -> None:
        line = sent(supplier, seal, parts_user)
        services.order_receive(line=line, by=parts_user, quantity=4)
        kinds = TrailEntry.objects.filter(kind__startswith="order.").order_by("pk").values_list("kind", flat=True)
        assert list(kinds) == ["order.line", "order.sent", "order.received"]


class TestSuppliers:
    def test_a_name_is_needed_and_known_once_in_whatever_letters(self, parts_user: User) -> None:
        a_supplier(parts_user)
        with pytest.raises(ShopError, match="A supplier needs a name"):
            services.supplier_set(by=parts_user, name=" ")
        with pytest.raises(Conflict, match="CANVAS AND BOW is known already"):
            services.supplier_set(by=parts_user, name="CANVAS AND BOW")

    @pytest.mark.parametrize("days", [-1, 366])
    def test_days_of_delivery_that_cannot_be_are_refused(
        self, seal: Part, supplier: Supplier, parts_user: User, days: int
    ) -> None:
        with pytest.raises(ShopError, match="Days of delivery for Slow: expected 0 to 365"):
            services.supplier_set(by=parts_user, name="Slow", lead_days=days)
        with pytest.raises(ShopError, match=f"Days of delivery for {seal.number}: expected 0 to 365"):
            services.offer_set(part=seal, supplier=supplier, by=parts_user, lead_days=days)

    def test_one_offer_is_preferred_and_another_takes_its_place(
        self, seal: Part, supplier: Supplier, parts_user: User
    ) -> None:
        other = services.supplier_set(by=parts_user, name="Other")
        first = services.offer_set(part=seal, supplier=supplier, by=parts_user, preferred=False)
        assert first.preferred, "the only one"
        second = services.offer_set(part=seal, supplier=other, by=parts_user)
        assert list(Offer.objects.filter(preferred=True)) == [second]
        services.offer_drop(offer=second, by=parts_user)
        assert Offer.objects.get().preferred

    @pytest.mark.parametrize("pack", [0, 1000])
    def test_a_pack_that_cannot_be_is_refused(
        self, seal: Part, supplier: Supplier, parts_user: User, pack: int
    ) -> None:
        with pytest.raises(ShopError, match=f"Pack of {seal.number}: expected 1 to 999 pieces"):
            services.offer_set(part=seal, supplier=supplier, by=parts_user, pack=pack)


class TestTheDatabaseItself:
    @pytest.mark.parametrize(
        ("bites", "wrong"),
        [
            ("orderline_one_or_more", {"quantity": 0}),
            ("orderline_surplus_says_why", {"received": 3}),
            ("orderline_surplus_says_why", {"received": 2, "given_up": 1}),
            ("orderline_price_not_negative", {"price": Decimal(-1)}),
        ],
    )
    def test_no_line_that_cannot_be_is_kept(
        self, seal: Part, supplier: Supplier, parts_user: User, bites: str, wrong: dict[str, Any]
    ) -> None:
        order = Order.objects.create(supplier=supplier, made_by=parts_user, made_at=timezone.now())
        with pytest.raises(IntegrityError, match=bites), transaction.atomic():
            OrderLine.objects.create(**({"order": order, "part": seal, "quantity": 2} | wrong))

    @pytest.mark.parametrize(
        ("bites", "wrong"),
        [
            ("order_sent_has_day", {"state": "sent"}),
            ("order_ended_when_over", {"state": "closed", "sent_at": timezone.now()}),
            ("order_state_known", {"state": "lost", "sent_at": timezone.now()}),
        ],
    )
    def test_no_order_that_cannot_be_is_kept(
        self, supplier: Supplier, parts_user: User, bites: str, wrong: dict[str, Any]
    ) -> None:
        right: dict[str, Any] = {"supplier": supplier, "made_by": parts_user, "made_at": timezone.now()}
        # A state that nobody knows is also none of those that are over.
        with pytest.raises(IntegrityError, match=f"{bites}|order_ended_when_over"), transaction.atomic():
            Order.objects.create(**(right | wrong))

    def test_a_supplier_has_one_draft(self, supplier: Supplier, parts_user: User) -> None:
        right: dict[str, Any] = {"supplier": supplier, "made_by": parts_user, "made_at": timezone.now()}
        Order.objects.create(**right)
        with (
            pytest.raises(IntegrityError, match=r"order_one_draft_a_supplier|order\.supplier_id"),
            transaction.atomic(),
        ):
            Order.objects.create(**right)
