"""What a job needs from the shelf: reserved, awaited until a day, handed out; and what the job and its plan say."""

import datetime as dt
from collections.abc import Iterator

import pytest
from django.utils import timezone

from parts import services
from parts.models import Need, NeedSource, Part, Supplier
from shop.errors import Conflict, Refused, ShopError
from shop.models import Job, Stage, TaskPart, TrailEntry, User
from shop.services import job_hold, job_move, job_open
from shop.words import day_words
from tests.diagnostics.bench import publish
from tests.parts.shelving import a_part, a_supplier, balance, books_agree, put
from tests.shop.bays import a_task

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _books(db: None) -> Iterator[None]:
    yield
    books_agree()


@pytest.fixture
def seal(parts_user: User) -> Part:
    return a_part(parts_user)


@pytest.fixture
def other(job: Job, counter: User) -> Job:
    return job_open(car=job.car, by=counter, title="Other work", stage=Stage.HERE)


def ask(job: Job, part: Part, by: User, quantity: int = 1, **more: object) -> Need:
    return services.need_add(job=job, part=part, by=by, quantity=quantity, **more)  # type: ignore[arg-type]


def of(need: Need) -> tuple[int, int, str]:
    """Reserved, handed out, state."""
    need.refresh_from_db()
    return need.held, need.issued, need.state


def waits(job: Job) -> tuple[str, str]:
    job.refresh_from_db()
    return job.hold, job.hold_note


class TestAskedFor:
    def test_what_is_there_is_reserved_and_what_is_missing_holds_the_car_up(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(seal, parts_user, 1)
        need = ask(job, seal, tech, 3)
        assert of(need) == (1, 0, "open")
        assert need.missing == 2
        assert waits(job) == ("part", f"{seal.number}: not ordered yet")

    def test_the_floor_has_the_car_under_a_part_with_the_note(
        self, seal: Part, job: Job, tech: User, client_as: object
    ) -> None:
        ask(job, seal, tech)
        page = client_as("technician").get("/").content.decode()  # type: ignore[operator]
        group = page[page.index("a part") :]
        assert f"{seal.number}: not ordered yet" in group

    def test_all_that_is_there_leaves_the_job_at_the_bench(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(seal, parts_user, 3)
        ask(job, seal, tech, 3)
        assert waits(job) == ("bench", "")

    def test_what_is_hardly_needed_holds_nothing_up(self, seal: Part, job: Job, tech: User) -> None:
        ask(job, seal, tech, chance=0.3, source=NeedSource.SUSPECT)
        assert waits(job)[0] == "bench"

    def test_what_somebody_else_said_stays(self, seal: Part, job: Job, tech: User, counter: User) -> None:
        job_hold(job=job, by=counter, hold="customer", note="has to call back")
        ask(job, seal, tech)
        assert waits(job) == ("customer", "has to call back")

    @pytest.mark.parametrize("quantity", [0, -1, 100])
    def test_numbers_that_cannot_be_are_refused(self, seal: Part, job: Job, tech: User, quantity: int) -> None:
        with pytest.raises(ShopError, match=f"^{quantity} × {seal.number} for one job: expected 1 to 99.$"):
            ask(job, seal, tech, quantity)
        need = ask(job, seal, tech)
        with pytest.raises(ShopError, match=f"^{quantity} × {seal.number}: expected 1 to 99.$"):
            services.need_change(need=need, by=tech, quantity=quantity)

    @pytest.mark.parametrize("chance", [0, -0.1, 1.01])
    def test_a_chance_is_above_nought_and_up_to_one(self, seal: Part, job: Job, tech: User, chance: float) -> None:
        with pytest.raises(ShopError, match="expected above 0 and up to 1"):
            ask(job, seal, tech, chance=chance)

    def test_a_position_that_the_top_does_not_have_is_refused(
        self, seal: Part, job: Job, tech: User, owner: User
    ) -> None:
        publish(owner)
        with pytest.raises(ShopError, match="has no position BG99"):
            ask(job, seal, tech, position="bg99")
        assert ask(job, seal, tech, position=" bg3 ").position == "BG3"

    def test_the_same_is_asked_for_once(self, seal: Part, job: Job, tech: User) -> None:
        ask(job, seal, tech)
        with pytest.raises(Conflict, match=f"{job.number} asks for {seal.number} already; change the number there"):
            ask(job, seal, tech, 2)

    def test_nothing_is_asked_for_a_finished_job_or_by_a_stranger(self, seal: Part, job: Job, tech: User) -> None:
        with pytest.raises(Refused):
            ask(job, seal, User(username="x", role="guest"))
        Job.objects.filter(pk=job.pk).update(stage="gone", finished_at=timezone.now())
        with pytest.raises(Conflict, match=f"Job {job.number} is finished; parts go to open jobs"):
            ask(job, seal, tech)


class TestServed:
    def test_what_comes_in_goes_to_who_surely_needs_it_then_to_who_asked_first(
        self, seal: Part, job: Job, other: Job, parts_user: User, tech: User
    ) -> None:
        perhaps = ask(other, seal, tech, chance=0.4)
        surely = ask(job, seal, tech, position="")
        later = ask(other, seal, tech, position="BG3")
        put(seal, parts_user, 2)
        assert [of(one)[0] for one in (perhaps, surely, later)] == [0, 1, 1]
        assert waits(job) == ("bench", "")

    def test_what_is_dropped_goes_to_who_waits(
        self, seal: Part, job: Job, other: Job, parts_user: User, tech: User
    ) -> None:
        put(seal, parts_user, 2)
        first, second = ask(job, seal, tech, 2), ask(other, seal, tech)
        assert waits(other)[0] == "part"
        services.need_change(need=first, by=tech, quantity=1)
        assert (of(first)[0], of(second)[0], waits(other)[0]) == (1, 1, "bench")
        third = ask(other, seal, tech, position="BG3")
        services.need_drop(need=first, by=tech, why="was only the lead")
        assert of(third)[0] == 1
        assert TrailEntry.objects.filter(kind="need.dropped").latest("pk").words.endswith("was only the lead")

    def test_a_job_that_is_done_keeps_nothing_from_others(
        self, seal: Part, job: Job, other: Job, parts_user: User, tech: User, django_capture_on_commit_callbacks: object
    ) -> None:
        put(seal, parts_user, 1)
        first, second = ask(job, seal, tech), ask(other, seal, tech)
        with django_capture_on_commit_callbacks(execute=True):  # type: ignore[operator]
            job_move(job=job, by=tech, stage=Stage.DONE)
        assert of(first) == (0, 0, "dropped")
        assert of(second) == (1, 0, "open")
        words = TrailEntry.objects.filter(kind="need.dropped").latest("pk").words
        assert words == f"{job.number} is done and did not take: {seal.number}."

    def test_goods_come_in_although_a_finished_job_asked_for_them_once(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        need = ask(job, seal, tech)
        Job.objects.filter(pk=job.pk).update(stage="gone", finished_at=timezone.now())
        put(seal, parts_user, 2)
        assert (balance(seal), of(need)[0]) == ((2, 0, 0), 0)

    def test_more_is_asked_for_and_reserved(self, seal: Part, job: Job, parts_user: User, tech: User) -> None:
        put(seal, parts_user, 3)
        need = ask(job, seal, tech)
        services.need_change(need=need, by=tech, quantity=5)
        assert (of(need)[0], waits(job)[0]) == (3, "part")

    def test_it_is_needed_after_all(self, seal: Part, job: Job, parts_user: User, tech: User) -> None:
        put(seal, parts_user, 1)
        need = ask(job, seal, tech, position="BG3", why="green crust")
        services.need_drop(need=need, by=tech)
        again = services.need_again(need=need, by=tech)
        assert (again.position, again.why, again.held) == ("BG3", "green crust", 1)
        with pytest.raises(Conflict, match="was not dropped"):
            services.need_again(need=again, by=tech)
        with pytest.raises(Conflict, match=f"This need of {seal.number} is over"):
            services.need_drop(need=need, by=tech)


class TestHandedOut:
    def test_out_of_what_is_reserved_then_of_what_is_free(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(seal, parts_user, 5)
        need = ask(job, seal, tech, 2)
        services.part_issue(part=seal, job=job, by=tech)
        assert of(need) == (1, 1, "open")
        services.part_issue(part=seal, job=job, by=tech, quantity=3)
        assert (of(need), balance(seal)) == ((0, 2, "issued"), (1, 0, 0))

    def test_a_number_below_what_is_out_already_is_refused(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(seal, parts_user, 5)
        need = ask(job, seal, tech, 4)
        services.part_issue(part=seal, job=job, by=tech, quantity=2)
        with pytest.raises(ShopError, match="expected 2 to 99"):
            services.need_change(need=need, by=tech, quantity=1)
        services.need_change(need=need, by=tech, quantity=2)
        assert (of(need), balance(seal)) == ((0, 2, "issued"), (3, 0, 0))

    def test_dropped_after_some_went_out_it_is_over_and_the_rest_is_free(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(seal, parts_user, 5)
        need = ask(job, seal, tech, 4)
        services.part_issue(part=seal, job=job, by=tech, quantity=2)
        services.need_drop(need=need, by=tech)
        assert (of(need), balance(seal)) == ((0, 2, "issued"), (3, 0, 0))


class TestAwaited:
    def test_the_job_says_until_when_and_it_follows_what_the_supplier_says(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        ask(job, seal, tech)
        today = timezone.localdate()
        line = services.order_line_add(supplier=a_supplier(parts_user, 5), part=seal, by=parts_user, quantity=2)
        assert waits(job)[1] == f"{seal.number}: not ordered yet", "a draft is no order"
        order = services.order_send(order=line.order, by=parts_user)
        assert order.expected_on is not None
        assert waits(job)[1] == f"{seal.number}: expected {day_words(order.expected_on)}"
        services.order_confirm(order=line.order, by=parts_user, expected_on=today + dt.timedelta(days=9))
        assert waits(job)[1] == f"{seal.number}: expected {day_words(today + dt.timedelta(days=9))}"
        services.order_receive(line=line, by=parts_user, quantity=1)
        assert waits(job) == ("bench", "")

    def test_a_supplier_of_whom_nobody_knows_how_long_they_take(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        ask(job, seal, tech)
        line = services.order_line_add(supplier=a_supplier(parts_user, None), part=seal, by=parts_user, quantity=1)
        services.order_send(order=line.order, by=parts_user)
        assert waits(job) == ("part", f"{seal.number}: ordered, no day is known")

    def test_who_asked_first_gets_the_first_delivery_and_the_last_waits_for_an_order(
        self, seal: Part, job: Job, other: Job, parts_user: User, tech: User, counter: User
    ) -> None:
        third = job_open(car=job.car, by=counter, title="Third", stage=Stage.HERE)
        for one in (job, other, third):
            ask(one, seal, tech)
        days = [timezone.localdate() + dt.timedelta(days=n) for n in (3, 8)]
        for day in reversed(days):
            line = services.order_line_add(supplier=_supplier(parts_user, day), part=seal, by=parts_user, quantity=1)
            services.order_send(order=line.order, by=parts_user, expected_on=day)
        said = [waits(one)[1].partition(": ")[2] for one in (job, other, third)]
        assert said == [f"expected {day_words(days[0])}", f"expected {day_words(days[1])}", "not ordered yet"]

    def test_of_several_the_note_names_those_that_nobody_ordered(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        oil = a_part(parts_user, "TW-OIL-0010")
        line = services.order_line_add(supplier=a_supplier(parts_user), part=oil, by=parts_user, quantity=1)
        services.order_send(order=line.order, by=parts_user)
        for part in (seal, oil):
            ask(job, part, tech)
        assert waits(job)[1] == "TW-SEA-0001: not ordered yet"

    def test_what_will_not_come_is_said(self, seal: Part, job: Job, parts_user: User, tech: User) -> None:
        ask(job, seal, tech)
        line = services.order_line_add(supplier=a_supplier(parts_user), part=seal, by=parts_user, quantity=1)
        services.order_send(order=line.order, by=parts_user)
        services.order_line_give_up(line=line, by=parts_user, why="no longer made")
        assert waits(job)[1] == f"{seal.number}: not ordered yet"

    def test_the_work_plan_knows_when_its_part_comes_and_that_it_is_here(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        row = TaskPart.objects.create(task=a_task(job), name="Seal", part=seal.number)
        ask(job, seal, tech, source=NeedSource.PLAN, task_part=row)
        line = services.order_line_add(supplier=a_supplier(parts_user, 5), part=seal, by=parts_user, quantity=1)
        order = services.order_send(order=line.order, by=parts_user)
        row.refresh_from_db()
        assert order.expected_on is not None
        assert (row.expected_on, row.here_on) == (order.expected_on, None)
        services.order_receive(line=line, by=parts_user, quantity=1)
        row.refresh_from_db()
        assert row.here_on == timezone.localdate()
        services.scrap(part=seal, by=parts_user, quantity=1, why="wet")
        row.refresh_from_db()
        assert row.here_on is None, "it is not there after all"

    def test_a_part_that_lies_there_is_here_for_the_plan_at_once(
        self, seal: Part, job: Job, parts_user: User, tech: User
    ) -> None:
        put(seal, parts_user, 1)
        row = TaskPart.objects.create(task=a_task(job), name="Seal", part=seal.number)
        ask(job, seal, tech, source=NeedSource.PLAN, task_part=row)
        row.refresh_from_db()
        assert row.here_on == timezone.localdate()


def _supplier(by: User, day: dt.date) -> Supplier:
    return services.supplier_set(by=by, name=f"Supplier of {day}")
