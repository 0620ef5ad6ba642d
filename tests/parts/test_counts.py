"""Stocktakes: what is counted beside what the ledger expected, and what is booked of it."""

from collections.abc import Iterator

import pytest

from parts import services
from parts.models import CountLine, Lot, Movement, MovementKind, Part, Stocktake
from shop.errors import Conflict, Refused, ShopError
from shop.models import Job, TrailEntry, User
from shop.services import job_open
from tests.parts.shelving import SWITCH, a_part, balance, books_agree, put

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books(db: None) -> Iterator[None]:
    yield
    books_agree()


@pytest.fixture
def seal(parts_user: User) -> Part:
    return a_part(parts_user)


@pytest.fixture
def count(parts_user: User) -> Stocktake:
    return services.stocktake_begin(by=parts_user, note="Autumn")


def write(count: Stocktake, part: Part, by: User, counted: int, lot: Lot | None = None, why: str = "") -> CountLine:
    return services.count_write(stocktake=count, part=part, by=by, counted=counted, lot=lot, why=why)


def test_the_difference_is_booked_and_says_what_was_counted(seal: Part, count: Stocktake, parts_user: User) -> None:
    put(seal, parts_user, 5)
    write(count, seal, parts_user, 3)
    services.stocktake_close(stocktake=count, by=parts_user)
    movement = Movement.objects.get(kind=MovementKind.COUNTED)
    assert (balance(seal), movement.why) == ((3, 0, 0), "counted 3, expected 5")
    words = TrailEntry.objects.get(kind="count.closed").words
    assert words == "Shelf counted: 1 parts or batches, 1 with a difference."


def test_what_agrees_moves_nothing(seal: Part, count: Stocktake, parts_user: User) -> None:
    put(seal, parts_user, 5)
    write(count, seal, parts_user, 5)
    services.stocktake_close(stocktake=count, by=parts_user)
    assert not Movement.objects.filter(kind=MovementKind.COUNTED).exists()


def test_what_moves_between_counting_and_closing_changes_no_difference(
    seal: Part, count: Stocktake, job: Job, parts_user: User, tech: User
) -> None:
    put(seal, parts_user, 5)
    write(count, seal, parts_user, 4)
    services.part_issue(part=seal, job=job, by=tech, quantity=2)
    services.stocktake_close(stocktake=count, by=parts_user)
    assert balance(seal) == (2, 0, 0)


def test_counted_again_the_new_number_stands_beside_what_is_expected_now(
    seal: Part, count: Stocktake, parts_user: User
) -> None:
    put(seal, parts_user, 5)
    write(count, seal, parts_user, 3)
    put(seal, parts_user, 1)
    line = write(count, seal, parts_user, 6)
    assert (CountLine.objects.count(), line.expected, line.difference) == (1, 6, 0)


def test_a_struck_line_is_not_booked(seal: Part, count: Stocktake, parts_user: User) -> None:
    put(seal, parts_user, 5)
    services.count_strike(line=write(count, seal, parts_user, 0), by=parts_user)
    services.stocktake_close(stocktake=count, by=parts_user)
    assert balance(seal) == (5, 0, 0)


@pytest.mark.parametrize("counted", [-1, 10_000])
def test_numbers_that_cannot_be_are_refused(seal: Part, count: Stocktake, parts_user: User, counted: int) -> None:
    with pytest.raises(ShopError, match=f"^{counted} × {seal.number} counted: expected 0 to 9999.$"):
        write(count, seal, parts_user, counted)


def test_fewer_than_are_reserved_frees_what_was_asked_for_last(
    seal: Part, count: Stocktake, job: Job, parts_user: User, tech: User, counter: User
) -> None:
    put(seal, parts_user, 3)
    first = services.need_add(job=job, part=seal, by=tech, quantity=2)
    other = job_open(car=job.car, by=counter, title="Other", stage="here")
    last = services.need_add(job=other, part=seal, by=tech)
    write(count, seal, parts_user, 2)
    services.stocktake_close(stocktake=count, by=parts_user)
    for one in (first, last, other):
        one.refresh_from_db()
    assert (first.held, last.held) == (2, 0)
    assert (other.hold, other.hold_note) == ("part", f"{seal.number}: not ordered yet")


def test_more_than_was_thought_serves_who_waits(
    seal: Part, count: Stocktake, job: Job, parts_user: User, tech: User
) -> None:
    need = services.need_add(job=job, part=seal, by=tech)
    write(count, seal, parts_user, 2)
    services.stocktake_close(stocktake=count, by=parts_user)
    need.refresh_from_db()
    assert (need.held, balance(seal)) == (1, (2, 1, 0))


def test_what_went_out_since_is_not_counted_away_twice_and_nothing_is_booked(
    seal: Part, count: Stocktake, job: Job, parts_user: User, tech: User
) -> None:
    other = a_part(parts_user, "TW-OIL-0002")
    put(other, parts_user, 1)
    put(seal, parts_user, 5)
    write(count, other, parts_user, 0)
    write(count, seal, parts_user, 1)
    services.part_issue(part=seal, job=job, by=tech, quantity=3)
    with pytest.raises(
        Conflict, match=rf"{seal.number}: 1 counted where 5 were expected, but 2 are left since\. Count it again"
    ):
        services.stocktake_close(stocktake=count, by=parts_user)


def test_two_counts_of_one_shelf_do_not_book_the_same_difference_twice(
    seal: Part, count: Stocktake, parts_user: User
) -> None:
    put(seal, parts_user, 5)
    other = services.stocktake_begin(by=parts_user)
    for one in (count, other):
        write(one, seal, parts_user, 3)
    services.stocktake_close(stocktake=count, by=parts_user)
    with pytest.raises(Conflict, match=rf"{seal.number} was put right by another count meanwhile\. Count it again"):
        services.stocktake_close(stocktake=other, by=parts_user)
    assert balance(seal) == (3, 0, 0)
    write(other, seal, parts_user, 3)
    services.stocktake_close(stocktake=other, by=parts_user)
    assert balance(seal) == (3, 0, 0)


def test_a_followed_part_is_counted_by_batch(count: Stocktake, seal: Part, parts_user: User) -> None:
    switch = a_part(parts_user, SWITCH, tracking="batch")
    for number in ("B-1", "B-2"):
        put(switch, parts_user, 2, number)
    one, two = Lot.objects.order_by("number")
    with pytest.raises(ShopError, match=f"Count {SWITCH} by batch or serial number, as it is followed"):
        write(count, switch, parts_user, 4)
    with pytest.raises(ShopError, match=f"Count {seal.number} by batch or serial number, as it is followed"):
        write(count, seal, parts_user, 4, one)
    write(count, switch, parts_user, 1, one)
    write(count, switch, parts_user, 3, two)
    services.stocktake_close(stocktake=count, by=parts_user)
    assert sorted(Lot.objects.values_list("number", "quantity")) == [("B-1", 1), ("B-2", 3)]


def test_a_serial_number_is_there_or_not(count: Stocktake, parts_user: User) -> None:
    pump = a_part(parts_user, "TW-GPA-4001", tracking="serial")
    put(pump, parts_user, 1, "S-1")
    with pytest.raises(ShopError, match="2 × TW-GPA-4001 counted: expected 0 to 1"):
        write(count, pump, parts_user, 2, Lot.objects.get())


def test_a_closed_count_stays_as_it_is(seal: Part, count: Stocktake, parts_user: User) -> None:
    line = write(count, seal, parts_user, 2)
    services.stocktake_close(stocktake=count, by=parts_user)
    for act in (
        lambda: write(count, seal, parts_user, 3),
        lambda: services.count_strike(line=line, by=parts_user),
        lambda: services.stocktake_close(stocktake=count, by=parts_user),
    ):
        with pytest.raises(Conflict, match="This count is closed; begin another one"):
            act()
    assert balance(seal) == (2, 0, 0)


def test_who_keeps_no_shelf_counts_nothing(count: Stocktake, seal: Part, tech: User) -> None:
    with pytest.raises(Refused):
        write(count, seal, tech, 1)
