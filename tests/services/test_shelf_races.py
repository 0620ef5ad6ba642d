"""The shelf by many hands at once, on both databases: the last piece goes to one, nobody is locked out by another, and
the books agree afterwards."""

import datetime as dt
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.utils import timezone

from diagnostics import services as bench
from diagnostics.models import BenchSheet, Unit, Work
from parts import services
from parts.models import Movement, MovementKind, Need, Order, OrderLine, Part, Stocktake
from parts.services import ledger
from shop.errors import Conflict, ShopError
from shop.models import Job, Stage, TrailEntry, User
from shop.services import job_move, job_open
from tests.parts.shelving import CYLINDER, SWITCH, a_part, a_supplier, balance, books_agree, put
from tests.services.test_day_races import told
from tests.services.test_races import together

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _books(transactional_db: None) -> Iterator[None]:
    yield
    books_agree()


@pytest.fixture
def seal(parts_user: User) -> Part:
    return a_part(parts_user)


@pytest.fixture
def jobs(job: Job, counter: User) -> list[Job]:
    return [job, *(job_open(car=job.car, by=counter, title=f"Job {n}", stage=Stage.HERE) for n in range(2, 5))]


@pytest.fixture
def line(seal: Part, parts_user: User) -> OrderLine:
    """Four seals on their way."""
    line = services.order_line_add(supplier=a_supplier(parts_user), part=seal, by=parts_user, quantity=4)
    services.order_send(order=line.order, by=parts_user)
    return line


@pytest.fixture
def slow_ledger(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each movement takes a while after its balance is held, so that others meet it."""
    real = ledger.stock_locked

    def slowly(part: Part) -> Any:
        stock = real(part)
        time.sleep(0.15)
        return stock

    monkeypatch.setattr(ledger, "stock_locked", slowly)


def all_done_or_told(outcomes: list[Any]) -> None:
    """Everybody was served, or told by a sentence; nobody met an error of the database."""
    wrong = [one for one in outcomes if isinstance(one, Exception) and not isinstance(one, ShopError)]
    assert not wrong, wrong


def test_of_fifty_who_want_the_last_ten_pieces_ten_get_one(
    seal: Part, jobs: list[Job], parts_user: User, tech: User
) -> None:
    put(seal, parts_user, 10)
    acts = [lambda job=jobs[n % 4]: services.part_issue(part=seal, job=job, by=tech) for n in range(50)]
    outcomes = together(*acts)
    refused = told(outcomes)
    assert sum(isinstance(one, Movement) for one in outcomes) == 10
    assert len(refused) == 40
    assert set(refused) == {f"{seal.number}: 1 asked for, 0 on the shelf."}
    assert balance(seal) == (0, 0, 0)
    assert TrailEntry.objects.filter(kind="shelf.issued").count() == 10


def test_the_last_piece_is_fitted_once(jobs: list[Job], sheet: BenchSheet, parts_user: User, tech: User) -> None:
    switch = a_part(parts_user, SWITCH)
    put(switch, parts_user, 1)
    places = zip(jobs, ("BG3", "BG4", "BG5", "BG6"), strict=True)
    outcomes = together(
        *[
            lambda job=job, place=place: bench.work_add(job=job, by=tech, position=place, kind="replace", part=SWITCH)
            for job, place in places
        ]
    )
    refused = told(outcomes)
    assert len(refused) == 3
    assert all(f"No {SWITCH} is free on the shelf (0 there, 0 reserved)" in words for words in refused)
    assert (Work.objects.count(), Unit.objects.filter(removed_on=None).count(), balance(switch)) == (1, 1, (0, 0, 0))


def test_the_last_piece_is_promised_once(seal: Part, jobs: list[Job], parts_user: User, tech: User) -> None:
    put(seal, parts_user, 1)
    outcomes = together(*[lambda job=job: services.need_add(job=job, part=seal, by=tech) for job in jobs])
    assert not told(outcomes)
    assert sorted(Need.objects.values_list("held", flat=True)) == [0, 0, 0, 1]


def test_a_delivery_is_booked_in_once(seal: Part, line: OrderLine, parts_user: User, owner: User) -> None:
    outcomes = together(
        *[
            lambda by=by: services.order_receive(line=line, by=by, quantity=4)
            for by in (parts_user, owner, parts_user, owner)
        ]
    )
    assert told(outcomes) == [f"{line.order.number} is “All here”; expected “Sent”."] * 3
    assert balance(seal) == (4, 0, 0)


def test_a_delivery_in_parts_by_two_hands_is_whole(seal: Part, line: OrderLine, parts_user: User, owner: User) -> None:
    outcomes = together(
        *[lambda by=by: services.order_receive(line=line, by=by, quantity=2) for by in (parts_user, owner)]
    )
    assert not told(outcomes)
    assert (balance(seal), Order.objects.get().state) == ((4, 0, 0), "closed")


@pytest.mark.usefixtures("slow_ledger")
def test_a_delivery_while_jobs_ask_change_and_drop_locks_nobody_out(
    seal: Part, line: OrderLine, jobs: list[Job], parts_user: User, tech: User
) -> None:
    first, second = (services.need_add(job=job, part=seal, by=tech) for job in jobs[:2])
    day = timezone.localdate() + dt.timedelta(days=9)
    outcomes = together(
        lambda: services.order_receive(line=line, by=parts_user, quantity=3),
        lambda: services.need_change(need=first, by=tech, quantity=3),
        lambda: services.need_drop(need=second, by=tech),
        lambda: services.need_add(job=jobs[2], part=seal, by=tech, quantity=2),
        lambda: services.order_confirm(order=line.order, by=parts_user, expected_on=day),
        lambda: services.part_issue(part=seal, job=jobs[3], by=tech),
    )
    all_done_or_told(outcomes)
    asked = sum(need.missing for need in Need.objects.filter(state="open"))
    shelf, reserved, _cores = balance(seal)
    assert min(asked, shelf - reserved) == 0, "nobody waits for a piece that lies there free"


@pytest.mark.usefixtures("slow_ledger")
def test_who_asks_just_when_pieces_come_is_not_forgotten(
    seal: Part, jobs: list[Job], parts_user: User, tech: User
) -> None:
    outcomes = together(
        lambda: put(seal, parts_user, 2),
        *[lambda job=job: services.need_add(job=job, part=seal, by=tech) for job in jobs],
        lambda: put(seal, parts_user, 2),
    )
    assert not told(outcomes)
    assert balance(seal) == (4, 4, 0)


@pytest.mark.usefixtures("slow_ledger")
def test_jobs_that_exchange_parts_crosswise_lock_each_other_out_of_nothing(
    jobs: list[Job], sheet: BenchSheet, counter: User, parts_user: User, tech: User
) -> None:
    """One fits the new revision and keeps the old one as a core, another the other way round."""
    old, new = a_part(parts_user, CYLINDER, rebuildable=True), a_part(parts_user, "TW-MMA-5003", rebuildable=True)
    for part in (old, new):
        put(part, parts_user, 4)
    bench.work_add(job=jobs[1], by=tech, position="MM2", kind="replace", part=new.number)
    fit: Callable[..., Work] = lambda job, place, part: bench.work_add(  # noqa: E731
        job=job, by=tech, position=place, kind="replace", part=part, core_kept=True
    )
    outcomes = together(lambda: fit(jobs[0], "MM1", new.number), lambda: fit(jobs[2], "MM2", old.number))
    assert not told(outcomes)
    assert (balance(old), balance(new)) == ((3, 0, 1), (2, 0, 1))


def test_a_count_is_closed_once(seal: Part, parts_user: User, owner: User) -> None:
    put(seal, parts_user, 5)
    count = services.stocktake_begin(by=parts_user)
    services.count_write(stocktake=count, part=seal, by=parts_user, counted=3)
    outcomes = together(
        *[lambda by=by: services.stocktake_close(stocktake=count, by=by) for by in (parts_user, owner, parts_user)]
    )
    assert told(outcomes) == ["This count is closed; begin another one."] * 2
    assert balance(seal) == (3, 0, 0)


def test_two_counts_of_one_shelf_book_a_difference_once(seal: Part, parts_user: User, owner: User) -> None:
    put(seal, parts_user, 5)
    counts = [services.stocktake_begin(by=by) for by in (parts_user, owner)]
    for count in counts:
        services.count_write(stocktake=count, part=seal, by=parts_user, counted=3)
    outcomes = together(
        *[lambda count=count: services.stocktake_close(stocktake=count, by=parts_user) for count in counts]
    )
    assert told(outcomes) == [f"{seal.number} was put right by another count meanwhile. Count it again."]
    assert balance(seal) == (3, 0, 0)


def test_what_is_counted_while_the_count_closes_is_booked_or_refused(seal: Part, parts_user: User, owner: User) -> None:
    put(seal, parts_user, 5)
    count = services.stocktake_begin(by=parts_user)
    closed, written = together(
        lambda: services.stocktake_close(stocktake=count, by=owner),
        lambda: services.count_write(stocktake=count, part=seal, by=parts_user, counted=2),
    )
    assert isinstance(closed, Stocktake), closed
    assert balance(seal)[0] == (5 if isinstance(written, Conflict) else 2), written


def test_a_movement_is_taken_back_once(seal: Part, job: Job, parts_user: User, tech: User) -> None:
    put(seal, parts_user, 5)
    out = services.part_issue(part=seal, job=job, by=tech, quantity=2)
    outcomes = together(
        *[lambda: services.movement_undo(movement=out, by=tech, why="wrong bag") for _ in range(3)],
        lambda: services.part_return(part=seal, job=job, by=tech, quantity=2),
    )
    assert len(told(outcomes)) == 3, outcomes
    assert balance(seal) == (5, 0, 0)


def test_a_job_that_is_done_just_when_pieces_come_keeps_none(
    seal: Part, jobs: list[Job], parts_user: User, tech: User
) -> None:
    for job in jobs[:2]:
        services.need_add(job=job, part=seal, by=tech)
    outcomes = together(lambda: put(seal, parts_user, 1), lambda: job_move(job=jobs[0], by=tech, stage=Stage.DONE))
    assert not told(outcomes)
    assert list(Need.objects.order_by("pk").values_list("state", "held")) == [("dropped", 0), ("open", 1)]


def test_no_ring_of_parts_is_closed_by_two_hands(parts_user: User, owner: User) -> None:
    a, b, c, d = (a_part(parts_user, f"TW-CHN-000{n}") for n in range(1, 5))
    services.part_supersede(old=a, new=b, by=parts_user)
    services.part_supersede(old=c, new=d, by=parts_user)
    outcomes = together(
        lambda: services.part_supersede(old=b, new=c, by=parts_user),
        lambda: services.part_supersede(old=d, new=a, by=owner),
    )
    (words,) = told(outcomes)
    assert "a part cannot be superseded by itself in the end" in words
    assert Part.objects.filter(superseded_by=None).count() == 1


def test_one_draft_is_begun_for_a_supplier(seal: Part, parts_user: User, owner: User) -> None:
    supplier = a_supplier(parts_user)
    outcomes = together(
        *[
            lambda by=by: services.order_line_add(supplier=supplier, part=seal, by=by, quantity=1)
            for by in (parts_user, owner, parts_user, owner)
        ]
    )
    assert not told(outcomes)
    assert list(OrderLine.objects.values_list("quantity", flat=True)) == [4]


def test_a_serial_number_comes_in_once(parts_user: User, owner: User) -> None:
    pump = a_part(parts_user, "TW-GPA-4001", tracking="serial")
    outcomes = together(*[lambda by=by: put(pump, by, 1, "S-9") for by in (parts_user, owner, parts_user)])
    assert told(outcomes) == ["TW-GPA-4001 with serial S-9 is on the shelf already."] * 2
    assert Movement.objects.filter(kind=MovementKind.RECEIVED).count() == 1
