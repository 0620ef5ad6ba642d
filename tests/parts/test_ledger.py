"""The shelf's ledger: what people do at the shelf, what is refused with which sentence, and that the books agree."""

import datetime as dt
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from diagnostics import services as bench
from diagnostics.models import Unit
from parts import services
from parts.models import Lot, Movement, MovementKind, Need, Part, Stock
from parts.selectors.lots import cars_of_lot
from shop.errors import Conflict, Refused, ShopError
from shop.models import Job, TrailEntry, User
from shop.models.trail import AppendOnlyError
from tests.diagnostics.bench import publish
from tests.parts.shelving import CYLINDER, SWITCH, a_part, balance, books_agree, put

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books(db: None) -> Iterator[None]:
    yield
    books_agree()


@pytest.fixture
def seal(parts_user: User) -> Part:
    return a_part(parts_user)


def told(kind: str) -> str:
    return TrailEntry.objects.filter(kind=kind).latest("pk").words


def fit(job: Job, by: User, position: str = "BG3", part: str = SWITCH, **more: Any) -> Unit:
    work = bench.work_add(job=job, by=by, position=position, kind="replace", part=part, **more)
    assert work.new_unit is not None
    return work.new_unit


class TestInAndOut:
    def test_what_comes_in_lies_there_and_what_goes_out_does_not(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(seal, parts_user, 5)
        services.part_issue(part=seal, job=job, by=tech, quantity=2)
        services.part_return(part=seal, job=job, by=tech, quantity=1)
        services.scrap(part=seal, by=parts_user, quantity=1, why="brittle")
        assert balance(seal) == (3, 0, 0)
        assert told("shelf.scrapped") == f"1 × {seal.number} scrapped. brittle"

    @pytest.mark.parametrize("quantity", [0, -3, 10_000])
    def test_numbers_that_cannot_be_are_refused(self, seal: Part, job: Job, owner: User, quantity: int) -> None:
        put(seal, owner, 5)
        for act in (
            lambda: put(seal, owner, quantity),
            lambda: services.part_issue(part=seal, job=job, by=owner, quantity=quantity),
            lambda: services.part_return(part=seal, job=job, by=owner, quantity=quantity),
            lambda: services.scrap(part=seal, by=owner, quantity=quantity, why="x"),
        ):
            with pytest.raises(ShopError, match=rf"^{quantity} pieces of {seal.number}: expected 1 to 9999\.$"):
                act()
        assert balance(seal) == (5, 0, 0)

    def test_more_than_lies_there_is_refused_by_number(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(seal, parts_user, 2)
        with pytest.raises(Conflict, match=f"^{seal.number}: 3 asked for, 2 on the shelf.$"):
            services.part_issue(part=seal, job=job, by=tech, quantity=3)
        with pytest.raises(Conflict, match="3 asked for, 2 on the shelf"):
            services.scrap(part=seal, by=parts_user, quantity=3, why="lost")

    def test_what_is_reserved_for_another_car_is_not_handed_out(
        self, seal: Part, job: Job, parts_user: User, tech: User, counter: User
    ) -> None:
        from shop.services import job_open

        put(seal, parts_user, 2)
        services.need_add(job=job, part=seal, by=tech, quantity=2)
        other = job_open(car=job.car, by=counter, title="Other work", stage="here")
        with pytest.raises(Conflict, match="1 asked for, 0 free of 2 on the shelf; the others are reserved"):
            services.part_issue(part=seal, job=other, by=tech)

    def test_no_more_comes_back_than_went_out(self, seal: Part, job: Job, parts_user: User, tech: User) -> None:
        put(seal, parts_user, 2)
        services.part_issue(part=seal, job=job, by=tech)
        with pytest.raises(Conflict, match=f"{job.number} has 1 × {seal.number} from the shelf; 2 cannot come back"):
            services.part_return(part=seal, job=job, by=tech, quantity=2)

    def test_a_reason_is_asked_for_where_pieces_vanish(self, seal: Part, parts_user: User) -> None:
        put(seal, parts_user, 1)
        with pytest.raises(ShopError, match=f"Say why {seal.number} is scrapped"):
            services.scrap(part=seal, by=parts_user, quantity=1, why="  ")

    def test_what_is_broken_is_no_longer_promised(self, seal: Part, job: Job, parts_user: User, tech: User) -> None:
        put(seal, parts_user, 1)
        need = services.need_add(job=job, part=seal, by=tech)
        services.scrap(part=seal, by=parts_user, quantity=1, why="fell into the pit")
        need.refresh_from_db()
        job.refresh_from_db()
        assert (need.held, job.hold, job.hold_note) == (0, "part", f"{seal.number}: not ordered yet")

    def test_who_may_not_is_refused(self, seal: Part, job: Job, parts_user: User, tech: User, counter: User) -> None:
        put(seal, parts_user, 1)
        for act in (
            lambda: put(seal, tech, 1),
            lambda: services.scrap(part=seal, by=tech, quantity=1, why="x"),
            lambda: services.part_issue(part=seal, job=job, by=counter),
        ):
            with pytest.raises(Refused):
                act()

    def test_a_price_below_nought_is_refused(self, seal: Part, parts_user: User) -> None:
        from decimal import Decimal

        with pytest.raises(ShopError, match=f"^Price of {seal.number}: expected 0 or more.$"):
            services.goods_in(part=seal, by=parts_user, quantity=1, price=Decimal(-1))


class TestFitted:
    @pytest.fixture(autouse=True)
    def _system(self, owner: User) -> None:
        publish(owner)

    @pytest.fixture
    def switch(self, parts_user: User) -> Part:
        return a_part(parts_user, SWITCH)

    def test_a_fitted_unit_comes_off_the_shelf(self, switch: Part, job: Job, parts_user: User, tech: User) -> None:
        put(switch, parts_user, 2)
        unit = fit(job, tech)
        assert balance(switch) == (1, 0, 0)
        assert Movement.objects.get(unit=unit).job == job

    def test_none_on_the_shelf_is_refused_and_nothing_is_booked(
        self, switch: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(switch, parts_user, 1)
        services.scrap(part=switch, by=parts_user, quantity=1, why="bent")
        with pytest.raises(Conflict, match=rf"^No {SWITCH} is free on the shelf \(0 there, 0 reserved\)\. If it came"):
            fit(job, tech)
        assert not Unit.objects.exists()

    def test_the_customers_own_is_fitted_with_where_it_came_from_in_the_trail(
        self, switch: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(switch, parts_user, 1)
        services.scrap(part=switch, by=parts_user, quantity=1, why="bent")
        need = services.need_add(job=job, part=switch, by=tech, position="BG3")
        fit(job, tech, elsewhere="customer’s own")
        assert told("shelf.elsewhere") == f"{SWITCH} at BG3 did not come off the shelf: customer’s own"
        need.refresh_from_db()
        job.refresh_from_db()
        assert (need.state, job.hold) == ("dropped", "bench"), "nothing is awaited any more"

    def test_what_was_reserved_for_it_is_free_when_it_came_from_elsewhere(
        self, switch: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(switch, parts_user, 1)
        services.need_add(job=job, part=switch, by=tech, position="BG3")
        fit(job, tech, elsewhere="from the donor car")
        assert balance(switch) == (1, 0, 0)

    def test_a_part_that_nobody_ever_kept_is_fitted_without_questions(self, switch: Part, job: Job, tech: User) -> None:
        need = services.need_add(job=job, part=switch, by=tech, position="BG3")
        fit(job, tech)
        need.refresh_from_db()
        job.refresh_from_db()
        assert (balance(switch), need.state, job.hold) == ((0, 0, 0), "dropped", "bench")

    def test_it_comes_out_of_what_the_job_reserved(self, switch: Part, job: Job, parts_user: User, tech: User) -> None:
        put(switch, parts_user, 1)
        need = services.need_add(job=job, part=switch, by=tech, position="BG3")
        fit(job, tech)
        need.refresh_from_db()
        assert (need.held, need.issued, need.state) == (0, 1, "issued")
        assert balance(switch) == (0, 0, 0)

    def test_a_cylinder_that_comes_off_is_rebuilt_and_lies_there_again(
        self, job: Job, parts_user: User, tech: User
    ) -> None:
        cylinder = a_part(parts_user, CYLINDER, rebuildable=True)
        put(cylinder, parts_user, 1)
        fit(job, tech, "MM1", CYLINDER, core_kept=True)
        assert balance(cylinder) == (0, 0, 1)
        services.rebuilt(part=cylinder, by=parts_user, why="new seals")
        assert balance(cylinder) == (1, 0, 0)
        with pytest.raises(Conflict, match=f"{CYLINDER}: 1 cores asked for, 0 there"):
            services.rebuilt(part=cylinder, by=parts_user)

    def test_a_core_of_what_is_never_rebuilt_is_refused_and_nothing_is_booked(
        self, switch: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(switch, parts_user, 1)
        with pytest.raises(ShopError, match=f"{SWITCH} is not a part that is rebuilt here"):
            fit(job, tech, core_kept=True)
        with pytest.raises(ShopError, match="is not a part that is rebuilt; say so in the catalogue first"):
            services.core_in(part=switch, by=tech)
        assert (balance(switch), Unit.objects.count()) == ((1, 0, 0), 0)


class TestBatches:
    @pytest.fixture(autouse=True)
    def _system(self, owner: User) -> None:
        publish(owner)

    @pytest.fixture
    def switch(self, parts_user: User) -> Part:
        return a_part(parts_user, SWITCH, tracking="batch")

    def test_the_oldest_batch_goes_first_and_its_cars_are_found(
        self, switch: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(switch, parts_user, 1, "B-1")
        put(switch, parts_user, 5, "B-2")
        Lot.objects.filter(number="B-1").update(received_on=dt.date(2024, 1, 1))
        unit = fit(job, tech)
        (found,) = cars_of_lot(Lot.objects.get(number="B-1"))
        assert (found.car, found.position, found.pieces, found.unit) == (job.car, "BG3", 1, unit)
        assert found.at.date() == timezone.now().date()
        assert cars_of_lot(Lot.objects.get(number="B-2")) == ()

    def test_pieces_handed_out_of_a_bad_batch_are_found_until_they_come_back(
        self, job: Job, parts_user: User, tech: User
    ) -> None:
        seal = a_part(parts_user, tracking="batch")
        put(seal, parts_user, 5, "OIL-7")
        lot = Lot.objects.get()
        services.part_issue(part=seal, job=job, by=tech, quantity=3)
        services.part_return(part=seal, job=job, by=tech, quantity=1)
        (found,) = cars_of_lot(lot)
        assert (found.car, found.position, found.pieces, found.unit) == (job.car, "", 2, None)
        services.part_return(part=seal, job=job, by=tech, quantity=2, lot="oil-7")
        assert cars_of_lot(lot) == ()

    def test_a_movement_taken_back_is_in_no_car(self, job: Job, parts_user: User, tech: User) -> None:
        seal = a_part(parts_user, tracking="batch")
        put(seal, parts_user, 5, "OIL-7")
        services.movement_undo(movement=services.part_issue(part=seal, job=job, by=tech), by=tech, why="wrong bag")
        assert cars_of_lot(Lot.objects.get()) == ()

    def test_nothing_of_a_barred_batch_is_fitted_or_promised(
        self, switch: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(switch, parts_user, 2, "B-1")
        need = services.need_add(job=job, part=switch, by=tech, position="BG3")
        lot = services.lot_bar(lot=Lot.objects.get(), by=parts_user, why="cracks at the plug")
        need.refresh_from_db()
        job.refresh_from_db()
        assert (need.held, job.hold) == (0, "part"), "what was reserved of it is missing"
        with pytest.raises(Conflict, match=f"{SWITCH} B-1 is barred: cracks at the plug"):
            fit(job, tech, lot="B-1")
        with pytest.raises(ShopError, match=f"Which piece of {SWITCH} is it.*batch number that is on the shelf: none"):
            fit(job, tech)
        put(switch, parts_user, 1, "B-2")
        need.refresh_from_db()
        assert need.held == 1
        services.need_drop(need=need, by=tech)
        services.lot_bar(lot=lot, by=parts_user, why="")
        fit(job, tech, lot="b-1")

    def test_a_bar_that_is_lifted_serves_who_waits(self, switch: Part, job: Job, parts_user: User, tech: User) -> None:
        put(switch, parts_user, 1, "B-1")
        lot = services.lot_bar(lot=Lot.objects.get(), by=parts_user, why="to be looked at")
        need = services.need_add(job=job, part=switch, by=tech)
        assert need.missing == 1
        services.lot_bar(lot=lot, by=parts_user, why="")
        need.refresh_from_db()
        assert need.missing == 0
        with pytest.raises(Conflict, match="Nothing changed for B-1"):
            services.lot_bar(lot=lot, by=parts_user, why="")

    def test_a_followed_part_needs_its_number_and_another_has_none(
        self, switch: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        seal = a_part(parts_user)
        with pytest.raises(ShopError, match=f"{SWITCH} needs its batch number: it is on the bag"):
            put(switch, parts_user, 1)
        with pytest.raises(ShopError, match=f"{seal.number} is not followed by batch or serial number"):
            put(seal, parts_user, 1, "B-1")

    def test_what_comes_back_is_of_a_batch_that_the_job_has(
        self, switch: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(switch, parts_user, 2, "B-1")
        put(switch, parts_user, 2, "B-2")
        services.part_issue(part=switch, job=job, by=tech, lot="B-2")
        with pytest.raises(ShopError, match=f"Expected one that {job.number} has: B-2"):
            services.part_return(part=switch, job=job, by=tech, lot="B-1")
        services.part_return(part=switch, job=job, by=tech)
        assert Lot.objects.get(number="B-2").quantity == 2

    def test_a_serial_number_is_one_piece_and_lies_there_once(self, job: Job, parts_user: User, tech: User) -> None:
        pump = a_part(parts_user, "TW-GPA-4001", tracking="serial")
        put(pump, parts_user, 1, "S-9")
        with pytest.raises(Conflict, match="TW-GPA-4001 with serial S-9 is on the shelf already"):
            put(pump, parts_user, 1, "S-9")
        with pytest.raises(ShopError, match="A serial number is of one piece: book TW-GPA-4001 one by one"):
            put(pump, parts_user, 2, "S-10")
        with pytest.raises(ShopError, match="Expected a serial number that is on the shelf: S-9"):
            fit(job, tech, "GP1", "TW-GPA-4001", serial="S-1")
        fit(job, tech, "GP1", "TW-GPA-4001", serial="S-9")
        assert balance(pump) == (0, 0, 0)

    def test_how_pieces_are_followed_changes_only_on_an_empty_shelf(self, switch: Part, parts_user: User) -> None:
        put(switch, parts_user, 1, "B-1")
        facts: dict[str, Any] = {"name": "x", "rebuildable": False, "minimum": 0, "place": "", "old_usable": True}
        with pytest.raises(Conflict, match=f"{SWITCH} lies on the shelf; how its pieces are followed can change only"):
            services.part_change(part=switch, by=parts_user, tracking="none", **facts)
        with pytest.raises(ShopError, match=r"Minimum of .*: expected 0 to 999"):
            services.part_change(part=switch, by=parts_user, tracking="batch", **(facts | {"minimum": -1}))


class TestUndo:
    def test_each_kind_is_taken_back_by_a_counter_entry(self, job: Job, owner: User) -> None:
        seal = a_part(owner, rebuildable=True)
        first = put(seal, owner, 5)
        for act in (
            lambda: services.part_issue(part=seal, job=job, by=owner, quantity=2),
            lambda: services.scrap(part=seal, by=owner, quantity=1, why="brittle"),
            lambda: services.core_in(part=seal, by=owner, quantity=2),
            lambda: put(seal, owner, 3),
        ):
            movement = act()
            back = services.movement_undo(movement=movement, by=owner, why="mistake")
            assert back.undoes == movement
            assert (back.shelf, back.cores) == (-movement.shelf, -movement.cores)
            assert balance(seal) == (5, 0, 0)
        services.part_issue(part=seal, job=job, by=owner)
        services.movement_undo(movement=services.part_return(part=seal, job=job, by=owner), by=owner, why="x")
        assert balance(seal) == (4, 0, 0)
        services.core_in(part=seal, by=owner)
        services.movement_undo(movement=services.rebuilt(part=seal, by=owner), by=owner, why="still weeps")
        assert balance(seal) == (4, 0, 1)
        services.movement_undo(movement=_counted(seal, owner, 9), by=owner, why="counted twice")
        assert balance(seal) == (4, 0, 1)
        with pytest.raises(Conflict, match="5 asked for, 4 on the shelf"):
            services.movement_undo(movement=first, by=owner, why="x")
        assert told("shelf.undone") == f"{seal.number}: “Counted” of 5 taken back. counted twice"

    def test_a_movement_is_taken_back_once_and_with_a_reason(self, seal: Part, owner: User) -> None:
        movement = put(seal, owner, 5)
        with pytest.raises(ShopError, match="Say why this is taken back"):
            services.movement_undo(movement=movement, by=owner, why=" ")
        back = services.movement_undo(movement=movement, by=owner, why="wrong part")
        for one in (movement, back):
            with pytest.raises(Conflict, match=r"This movement of .* is taken back already"):
                services.movement_undo(movement=one, by=owner, why="again")

    def test_what_is_fitted_or_reserved_is_put_right_elsewhere(self, job: Job, owner: User, tech: User) -> None:
        publish(owner)
        switch = a_part(owner, SWITCH)
        put(switch, owner, 2)
        unit = fit(job, tech)
        with pytest.raises(Conflict, match=f"{SWITCH} is fitted at BG3; book it off there and return it"):
            services.movement_undo(movement=Movement.objects.get(unit=unit), by=owner, why="x")
        services.need_add(job=job, part=switch, by=tech)
        with pytest.raises(Conflict, match=r"What is reserved of .* follows what its job needs; change it there"):
            services.movement_undo(movement=Movement.objects.get(kind=MovementKind.RESERVED), by=owner, why="x")

    def test_what_came_back_already_is_not_taken_back_a_second_time(self, seal: Part, job: Job, owner: User) -> None:
        put(seal, owner, 5)
        out = services.part_issue(part=seal, job=job, by=owner, quantity=2)
        services.part_return(part=seal, job=job, by=owner)
        with pytest.raises(Conflict, match=f"{job.number} has only 1 × {seal.number} of these yet"):
            services.movement_undo(movement=out, by=owner, why="x")
        assert balance(seal) == (4, 0, 0)

    def test_what_was_handed_out_is_reserved_again(self, seal: Part, job: Job, owner: User) -> None:
        put(seal, owner, 2)
        need = services.need_add(job=job, part=seal, by=owner, quantity=2)
        out = services.part_issue(part=seal, job=job, by=owner, quantity=2)
        services.movement_undo(movement=out, by=owner, why="not yet")
        need.refresh_from_db()
        assert (need.state, need.held, need.issued, balance(seal)) == ("open", 2, 0, (2, 2, 0))

    def test_more_handed_out_than_was_asked_for_is_taken_back_too(self, seal: Part, job: Job, owner: User) -> None:
        put(seal, owner, 5)
        need = services.need_add(job=job, part=seal, by=owner, quantity=2)
        one = services.part_issue(part=seal, job=job, by=owner, quantity=1)
        more = services.part_issue(part=seal, job=job, by=owner, quantity=3)
        services.movement_undo(movement=one, by=owner, why="x")
        need.refresh_from_db()
        assert (need.state, need.issued) == ("issued", 2)
        services.movement_undo(movement=more, by=owner, why="x")
        need.refresh_from_db()
        assert (need.state, need.held, need.issued) == ("open", 2, 0)

    def test_pieces_that_are_promised_since_are_not_taken_back(self, seal: Part, job: Job, owner: User) -> None:
        movement = put(seal, owner, 2)
        services.need_add(job=job, part=seal, by=owner)
        with pytest.raises(Conflict, match="2 asked for, 1 free of 2 on the shelf; the others are reserved"):
            services.movement_undo(movement=movement, by=owner, why="x")

    def test_only_who_keeps_the_shelf_takes_back_what_they_alone_may_book(
        self, seal: Part, parts_user: User, tech: User
    ) -> None:
        with pytest.raises(Refused):
            services.movement_undo(movement=put(seal, parts_user, 1), by=tech, why="x")


def _counted(part: Part, by: User, pieces: int) -> Movement:
    count = services.stocktake_begin(by=by)
    services.count_write(stocktake=count, part=part, by=by, counted=pieces)
    services.stocktake_close(stocktake=count, by=by)
    return Movement.objects.filter(kind=MovementKind.COUNTED).latest("pk")


class TestTheDatabaseItself:
    """What no service would do, done past it: the database refuses it by itself."""

    def test_movements_are_never_changed_or_deleted(self, seal: Part, parts_user: User) -> None:
        movement = put(seal, parts_user, 1)
        movement.shelf = 100
        for act in (
            movement.save,
            movement.delete,
            lambda: Movement.objects.update(shelf=100),
            lambda: Movement.objects.all().delete(),
            lambda: Movement.objects.bulk_update([movement], ["shelf"]),
        ):
            with pytest.raises(AppendOnlyError), transaction.atomic():
                act()
        assert Movement.objects.get().shelf == 1

    @pytest.mark.parametrize(
        ("bites", "wrong"),
        [
            ("stock_shelf_not_negative", {"shelf": -1, "reserved": 0}),
            ("stock_reserved_within_shelf", {"shelf": 1, "reserved": 2}),
            ("stock_reserved_within_shelf", {"reserved": -1}),
            ("stock_cores_not_negative", {"cores": -1}),
        ],
    )
    def test_no_balance_falls_below_nought(self, seal: Part, bites: str, wrong: dict[str, int]) -> None:
        # A shelf below nought is also below what is reserved: either may be named.
        with pytest.raises(IntegrityError, match=f"{bites}|stock_reserved_within_shelf"), transaction.atomic():
            Stock.objects.create(part=seal, **wrong)

    @pytest.mark.parametrize(
        ("bites", "wrong"),
        [
            ("movement_one_after_the_other", {"seq": 1}),
            ("movement_kind_and_signs", {"kind": "received", "shelf": -1}),
            ("movement_kind_and_signs", {"kind": "core", "shelf": 1}),
            ("movement_kind_and_signs", {"kind": "gift"}),
            ("movement_kind_and_signs", {"kind": "undone", "why": "x"}),
            ("movement_kind_and_signs", {"kind": "rebuilt", "shelf": 1, "cores": -2}),
            ("movement_moves_something", {"kind": "counted", "shelf": 0, "why": "x"}),
            ("movement_balances_not_negative", {"shelf_after": -1}),
            ("movement_balances_not_negative", {"reserved_after": 9}),
            ("movement_balances_not_negative", {"cores_after": -1}),
            ("movement_of_a_job_names_it", {"kind": "issued", "shelf": -1}),
            ("movement_says_why", {"kind": "counted"}),
        ],
    )
    def test_no_movement_that_cannot_be_is_kept(
        self, seal: Part, parts_user: User, bites: str, wrong: dict[str, Any]
    ) -> None:
        put(seal, parts_user, 1)
        right: dict[str, Any] = {
            "part": seal, "seq": 2, "kind": "received", "shelf": 1, "shelf_after": 2, "reserved_after": 0,
            "cores_after": 0, "by": parts_user, "at": timezone.now(),
        }  # fmt: skip
        with pytest.raises(IntegrityError, match=_named(bites)), transaction.atomic():
            Movement.objects.create(**(right | wrong))

    @pytest.mark.parametrize(
        ("bites", "wrong"),
        [
            ("lot_quantity_not_negative", {"quantity": -1}),
            ("lot_serial_one_piece", {"serial": True, "quantity": 2}),
            ("lot_number_once_a_part", {"number": "B-1"}),
        ],
    )
    def test_no_batch_that_cannot_be_is_kept(self, parts_user: User, bites: str, wrong: dict[str, Any]) -> None:
        switch = a_part(parts_user, SWITCH, tracking="batch")
        put(switch, parts_user, 1, "B-1")
        with pytest.raises(IntegrityError, match=_named(bites)), transaction.atomic():
            Lot.objects.create(**({"part": switch, "number": "B-2", "received_on": dt.date(2026, 1, 1)} | wrong))

    @pytest.mark.parametrize(
        ("bites", "wrong"),
        [
            ("need_one_or_more", {"quantity": 0}),
            ("need_chance_within", {"chance": 0.0}),
            ("need_chance_within", {"chance": 1.5}),
            ("need_held_and_issued_within_quantity", {"held": 2}),
            ("need_held_and_issued_within_quantity", {"issued": 2}),
            ("need_over_holds_nothing", {"state": "issued", "held": 1}),
            ("need_state_known", {"state": "lost"}),
            ("need_source_known", {"source": "dream"}),
        ],
    )
    def test_no_need_that_cannot_be_is_kept(
        self, seal: Part, job: Job, tech: User, bites: str, wrong: dict[str, Any]
    ) -> None:
        right: dict[str, Any] = {"job": job, "part": seal, "asked_by": tech, "asked_at": timezone.now()}
        with pytest.raises(IntegrityError, match=_named(bites)), transaction.atomic():
            Need.objects.create(**(right | wrong))


def _named(constraint: str) -> str:
    """How a database names what bit: SQLite names the columns of what is there once, and no constraint."""
    columns = {"movement_one_after_the_other": "movement.seq", "lot_number_once_a_part": "lot.number"}
    return "|".join(filter(None, (constraint, columns.get(constraint))))
