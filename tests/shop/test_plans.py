"""The work plan of a job: what people get when they plan, wait, work and end."""

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from shop.errors import Conflict, Refused, ShopError
from shop.models import Clock, Job, Stage, Task, TaskState, TrailEntry, User
from shop.selectors.plans import next_for, plan_of, readiness, ready_by_of
from shop.services import clocks, jobs, plan_waits, plans
from shop.views.plans import _templates

pytestmark = pytest.mark.django_db
NOON = dt.datetime(2026, 3, 10, 11, 0, tzinfo=dt.UTC)


@pytest.fixture
def noon(monkeypatch: pytest.MonkeyPatch) -> Callable[[dt.datetime], None]:
    """`noon(at)` sets the time at which people tap."""

    def at(now: dt.datetime) -> None:
        monkeypatch.setattr(timezone, "now", lambda: now)

    at(NOON)
    return at


def three(job: Job, by: User) -> tuple[Task, Task, Task]:
    """Trim, then seal, then water test."""
    trim = plans.task_add(job=job, by=by, title="Trim", planned_minutes=60)
    seal = plans.task_add(job=job, by=by, title="Seal", planned_minutes=90, after=[trim])
    return trim, seal, plans.task_add(job=job, by=by, title="Water test", planned_minutes=30, after=[seal])


def test_a_plan_says_what_can_begin_and_what_waits(job: Job, tech: User) -> None:
    three(job, tech)
    plan = plan_of(job)
    assert [line.waits for line in plan.lines] == [(), ("after Trim",), ("after Seal",)]
    assert [line.slack for line in plan.lines] == [0, 0, 0]
    assert plan.length == 180


def test_tasks_that_would_wait_for_one_another_are_refused_with_the_ring_named(job: Job, tech: User) -> None:
    trim, seal, _test = three(job, tech)
    with pytest.raises(ShopError, match="Trim → Seal → Trim"):
        plans.order_add(task=trim, before=seal, by=tech)
    assert trim.waits_for.count() == 0


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({"planned_minutes": -1}, "expected 0 to"),
        ({"planned_minutes": 60_001}, "expected 0 to"),
        ({"planned_minutes": 30, "least_minutes": 40, "most_minutes": 50}, "least ≤ planned ≤ most"),
        ({"planned_minutes": 30, "least_minutes": 20}, "neither"),
        ({"kind": "outside"}, "how many days"),
    ],
)
def test_minutes_that_cannot_be_are_refused(job: Job, tech: User, facts: dict[str, Any], said: str) -> None:
    with pytest.raises(ShopError, match=said):
        plans.task_add(job=job, by=tech, title="Trim", **facts)
    assert not job.tasks.exists()


def test_a_task_does_not_end_before_what_comes_before_it(job: Job, tech: User) -> None:
    _trim, seal, _test = three(job, tech)
    with pytest.raises(Conflict, match="comes after “Trim”"):
        plans.task_end(task=seal, by=tech)
    seal.refresh_from_db()
    assert seal.state == TaskState.OPEN


def test_done_and_dropped_are_taken_back(job: Job, tech: User) -> None:
    trim, seal, _test = three(job, tech)
    plans.task_end(task=trim, by=tech)
    plans.task_end(task=seal, by=tech, dropped=True)
    assert plans.task_reopen(task=trim, by=tech).state == TaskState.OPEN
    assert plans.task_reopen(task=seal, by=tech).ended_at is None
    assert TrailEntry.objects.filter(kind="task.reopened", job=job).count() == 2


def test_the_list_is_put_in_order_one_place_at_a_time(job: Job, tech: User) -> None:
    trim, _seal, test = three(job, tech)
    plans.task_move(task=test, by=tech, up=True)
    assert list(job.tasks.values_list("title", flat=True)) == ["Trim", "Water test", "Seal"]
    plans.task_move(task=trim, by=tech, up=True)
    assert next(iter(job.tasks.values_list("title", flat=True))) == "Trim"


def test_a_finished_jobs_plan_does_not_change(job: Job, tech: User) -> None:
    trim, *_rest = three(job, tech)
    Job.objects.filter(pk=job.pk).update(stage=Stage.DONE, finished_at=NOON)
    for change in (
        lambda: plans.task_add(job=job, by=tech, title="More"),
        lambda: plans.task_end(task=trim, by=tech),
        lambda: clocks.clock_start(task=trim, by=tech),
    ):
        with pytest.raises(Conflict):
            change()


def test_starting_another_clock_stops_the_first(job: Job, tech: User, noon: Callable[[dt.datetime], None]) -> None:
    trim, seal, _test = three(job, tech)
    assert clocks.clock_start(task=trim, by=tech) is None
    noon(NOON + dt.timedelta(minutes=20))
    stopped = clocks.clock_start(task=seal, by=tech)
    assert stopped is not None
    assert stopped.task == trim
    assert [line.worked_minutes for line in plan_of(job).lines] == [20, 0, 0]
    assert Clock.objects.filter(person=tech, stopped_at=None).count() == 1


def test_two_people_each_have_their_own_clock_on_a_task(job: Job, tech: User, owner: User, noon: Any) -> None:
    trim, *_rest = three(job, tech)
    clocks.clock_start(task=trim, by=tech)
    clocks.clock_start(task=trim, by=owner)
    noon(NOON + dt.timedelta(minutes=30))
    line = plan_of(job).lines[0]
    assert {str(person): minutes for person, minutes in line.worked} == {"tech": 30, "owner": 30}
    mine = Clock.objects.get(person=tech)
    with pytest.raises(Refused, match="each has their own"):
        clocks.clock_stop(clock=mine, by=owner)


def test_the_database_holds_one_running_clock_a_person(job: Job, tech: User) -> None:
    trim, seal, _test = three(job, tech)
    Clock.objects.create(task=trim, person=tech, started_at=NOON)
    with pytest.raises(IntegrityError), transaction.atomic():
        Clock.objects.create(task=seal, person=tech, started_at=NOON)


def test_a_clock_left_over_night_is_asked_about_and_not_counted(job: Job, tech: User, noon: Any) -> None:
    trim, seal, _test = three(job, tech)
    clocks.clock_start(task=trim, by=tech)
    noon(NOON + dt.timedelta(days=1))
    for tap in (
        lambda: clocks.clock_start(task=seal, by=tech),
        lambda: clocks.clock_start(task=trim, by=tech),
        lambda: plans.task_end(task=trim, by=tech),
    ):
        with pytest.raises(clocks.ClockForgotten, match="10 Mar 2026"):
            tap()
    assert plan_of(job).lines[0].worked_minutes == 0
    assert next_for(tech, timezone.now())[0].forgotten
    clock = Clock.objects.get()
    clocks.clock_set(clock=clock, by=tech, stopped_at=NOON + dt.timedelta(minutes=45), why="Forgot")
    assert plan_of(job).lines[0].worked_minutes == 45
    assert "Forgot" in TrailEntry.objects.get(kind="clock.set").words


@pytest.mark.parametrize(
    ("minutes", "why", "said"),
    [(-5, "x", "before it started"), (60 * 30, "x", "future"), (60 * 17, "x", "16 hours"), (5, " ", "Say in a few")],
)
def test_a_clock_is_not_set_to_times_that_cannot_be(
    job: Job, tech: User, noon: Any, minutes: int, why: str, said: str
) -> None:
    trim, *_rest = three(job, tech)
    clocks.clock_start(task=trim, by=tech)
    noon(NOON + dt.timedelta(days=1))
    with pytest.raises(ShopError, match=said):
        clocks.clock_set(clock=Clock.objects.get(), by=tech, stopped_at=NOON + dt.timedelta(minutes=minutes), why=why)
    assert Clock.objects.get().stopped_at is None


def test_only_the_owner_corrects_a_clock_that_has_stopped(job: Job, tech: User, owner: User, noon: Any) -> None:
    trim, *_rest = three(job, tech)
    clocks.clock_start(task=trim, by=tech)
    noon(NOON + dt.timedelta(minutes=50))
    clock = clocks.clock_stop(clock=Clock.objects.get(), by=tech)
    with pytest.raises(Refused):
        clocks.clock_set(clock=clock, by=tech, stopped_at=NOON, why="Wrong")
    clocks.clock_set(clock=clock, by=owner, started_at=NOON, stopped_at=NOON, why="Struck")
    assert plan_of(job).lines[0].worked_minutes == 0


def test_ending_a_task_stops_the_clocks_on_it_and_says_whose(job: Job, tech: User, owner: User) -> None:
    trim, *_rest = three(job, tech)
    clocks.clock_start(task=trim, by=tech)
    assert plans.task_end(task=trim, by=owner) == ["tech"]
    assert Clock.objects.get().stopped_at is not None


def test_parts_and_outside_work_hold_a_task_and_let_it_go(job: Job, tech: User, noon: Any) -> None:
    trim, *_rest = three(job, tech)
    row = plan_waits.task_part_add(task=trim, by=tech, name="Clip", expected_on=dt.date(2026, 3, 20))
    assert plan_of(job).lines[0].waits == ("Clip until 20 Mar 2026",)
    plan_waits.task_part_here(row=row, by=tech, here=True)
    assert plan_of(job).lines[0].waits == ()
    away = plans.task_add(job=job, by=tech, title="Paint", kind="outside", outside_days=10)
    with pytest.raises(ShopError, match="future"):
        plan_waits.outside_sent(task=away, by=tech, on=dt.date(2026, 3, 11))
    away = plan_waits.outside_sent(task=away, by=tech, on=dt.date(2026, 3, 9))
    assert plan_of(job).lines[3].waits == ("outside, expected back 19 Mar 2026",)
    with pytest.raises(ShopError, match="before it was sent"):
        plan_waits.outside_back(task=away, by=tech, on=dt.date(2026, 3, 8))


def test_the_page_offers_what_the_plan_waits_for_where_the_job_says_another_thing(job: Job, tech: User) -> None:
    trim, *_rest = three(job, tech)
    assert plan_of(job).hold == ""
    plan_waits.task_part_add(task=trim, by=tech, name="Clip")
    assert plan_of(job).hold == "part"
    jobs.job_hold(job=job, by=tech, hold="part")
    assert plan_of(job).hold == ""


@pytest.mark.parametrize("slug", ["switch-repair", "cylinder-set", "pump", "full-rebuild", "pre-purchase", "seal-set"])
def test_every_template_becomes_a_plan_that_can_be_worked_off(job: Job, tech: User, slug: str) -> None:
    made = plans.plan_apply(job=job, by=tech, template=_templates()[slug])
    assert readiness([job])[job.pk].deciding
    for task in made:
        plans.task_end(task=task, by=tech)
    assert not job.tasks.filter(state=TaskState.OPEN).exists()


def test_what_comes_next_is_the_running_clock_then_what_can_begin(job: Job, tech: User, owner: User) -> None:
    trim, _seal, _test = three(job, tech)
    wash = plans.task_add(job=job, by=tech, title="Wash", planned_minutes=5)
    plans.task_add(job=job, by=tech, title="Sign", planned_minutes=5, person=owner)
    assert [row.task for row in next_for(tech, timezone.now())] == [trim, wash]
    clocks.clock_start(task=wash, by=tech)
    assert [row.task for row in next_for(tech, timezone.now())] == [wash, trim]


def test_when_jobs_are_ready_takes_as_many_questions_for_one_as_for_five(
    job: Job, tech: User, counter: User, django_assert_num_queries: Any
) -> None:
    three(job, tech)
    ready_by_of([job], NOON)  # the shop's record of planned against worked minutes is kept for half an hour
    with django_assert_num_queries(7):
        alone = ready_by_of([job], NOON)
    more = [jobs.job_open(car=job.car, by=counter, title=f"Job {at}") for at in range(4)]
    for one in more:
        three(one, tech)
    with django_assert_num_queries(7):
        found = ready_by_of([job, *more], NOON)
    assert set(found) == {job.pk, *(one.pk for one in more)}
    assert found[job.pk].likely >= alone[job.pk].likely
    assert found[job.pk].early <= found[job.pk].likely <= found[job.pk].late


def test_a_tap_works_without_javascript_and_says_what_it_did(job: Job, tech: User, client_as: Any) -> None:
    trim, seal, _test = three(job, tech)
    client: Client = client_as("technician")
    client.post(f"/tasks/{trim.pk}/start/")
    answer = client.post(f"/tasks/{seal.pk}/start/", follow=True)
    assert "the one on “Trim” is stopped" in answer.content.decode()
    panel = client.post(f"/tasks/{seal.pk}/stop/", headers={"HX-Request": "true"}).content.decode()
    assert panel.lstrip().startswith("<section")
    assert "Your clock is stopped." in panel


def test_a_forgotten_clock_leads_to_its_question(job: Job, tech: User, client_as: Any) -> None:
    trim, seal, _test = three(job, tech)
    clock = Clock.objects.create(task=trim, person=tech, started_at=timezone.now() - dt.timedelta(days=2))
    client: Client = client_as("technician")
    answer = client.post(f"/tasks/{seal.pk}/start/", follow=True)
    assert answer.redirect_chain == [(f"/clocks/{clock.pk}/", 302)]
    assert "when did it stop?" in answer.content.decode()
    ended = timezone.localtime(clock.started_at + dt.timedelta(hours=2))
    client.post(f"/clocks/{clock.pk}/", {"stopped_at": ended.strftime("%Y-%m-%dT%H:%M"), "why": "Went home"})
    clock.refresh_from_db()
    assert clock.why == "Went home"


def test_a_task_that_does_not_fit_keeps_what_was_typed(job: Job, client_as: Any) -> None:
    client: Client = client_as("technician")
    form = {"title": "Bow", "kind": "labour", "planned_minutes": "10", "least_minutes": "20", "most_minutes": "30"}
    answer = client.post(f"/jobs/{job.pk}/plan/tasks/", form)
    assert answer.status_code == 422
    assert "least ≤ planned ≤ most" in answer.content.decode()
    assert 'value="Bow"' in answer.content.decode()


def test_the_floor_says_until_when_each_car_is_here_and_which_will_be_late(
    job: Job, tech: User, client_as: Callable[[str], Client]
) -> None:
    three(job, tech)
    Job.objects.filter(pk=job.pk).update(promised_on=timezone.localdate() - dt.timedelta(days=1))
    page = client_as("counter").get("/floor/ready/").content.decode()
    assert job.number in page
    assert "likely late" in page
    assert "Trim" in page
    Job.objects.filter(pk=job.pk).update(promised_on=timezone.localdate() + dt.timedelta(days=300))
    assert "likely in time" in client_as("counter").get("/floor/ready/").content.decode()
    assert "/floor/ready/" in client_as("counter").get("/").content.decode()


def test_a_technician_is_offered_what_comes_next_and_starts_it_by_one_tap(
    job: Job, tech: User, client_as: Callable[[str], Client]
) -> None:
    trim, *_rest = three(job, tech)
    client = client_as("technician")
    assert f"/tasks/{trim.pk}/start/" in client.get("/floor/next/").content.decode()
    client.post(f"/tasks/{trim.pk}/start/")
    assert "your clock runs" in client.get("/floor/next/").content.decode()
    Clock.objects.update(started_at=timezone.now() - dt.timedelta(days=1))
    assert "Say when it stopped" in client.get("/floor/next/").content.decode()
