"""The work plan of a job: what people get when they plan, wait, work and end."""

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from django.core.cache import cache
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone

from shop.errors import Conflict, Refused, ShopError
from shop.models import Bay, BayBooking, Clock, Job, Stage, Task, TaskPart, TaskState, TrailEntry, User
from shop.plan_forms import ClockForm
from shop.plan_words import TEMPLATE_WORDS
from shop.selectors.plans import next_for, plan_of, readiness, ready_by_of
from shop.selectors.ready import floor_of
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


def test_the_task_of_a_template_keeps_its_kind_whatever_its_title_becomes(
    job: Job, tech: User, counter: User, noon: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its title was changed four times over; the record of the kind is that of the template's task."""
    for number in range(4):
        one = jobs.job_open(car=job.car, by=counter, title=f"Job {number}", stage=Stage.HERE)
        task = plans.plan_apply(job=one, by=tech, template=_templates()["pre-purchase"])[0]
        plans.task_change(task=task, by=tech, title=f"Look over {number}")
        at = NOON + dt.timedelta(hours=2 * number)
        Clock.objects.create(task=task, person=tech, started_at=at, stopped_at=at + dt.timedelta(minutes=90))
        plans.task_end(task=task, by=tech)
    kept = plans.plan_apply(job=job, by=tech, template=_templates()["pre-purchase"])
    by_hand = plans.task_add(job=job, by=tech, title="Sweep", planned_minutes=30)
    for name in ("get", "set"):  # the record is kept for half an hour, over tests too
        monkeypatch.setattr(cache, name, lambda *_of: None)
    found = {task.key: task.factor for task in floor_of(NOON)[0].tasks if task.job == job.pk}
    assert found[kept[0].pk].tasks == 4
    assert found[kept[0].pk].median > 1.3  # 90 minutes where 20, 30, 60 were said, four times
    assert found[kept[1].pk].tasks == 4  # no record of its own: the shop's of tasks with three points
    assert 1 < found[kept[1].pk].median < found[kept[0].pk].median
    assert found[by_hand.pk].tasks == 0
    assert found[by_hand.pk].median == pytest.approx(1.1)


def test_the_bay_of_a_task_is_chosen_on_its_page_and_a_booking_has_its_own(
    job: Job, tech: User, owner: User, client_as: Any
) -> None:
    first, second = (Bay.objects.create(name=name) for name in ("Lift 1", "Lift 2"))
    client: Client = client_as("technician")
    form = {"title": "Trim", "kind": "labour", "planned_minutes": "60", "needs_bay": "on", "bay": str(second.pk)}
    client.post(f"/jobs/{job.pk}/plan/tasks/", form)
    task = Task.objects.get()
    assert task.bay == second
    assert "Lift 2" in client.get(f"/jobs/{job.pk}/plan/").content.decode()
    assert floor_of(NOON)[0].tasks[0].bay == second.pk
    later = NOON + dt.timedelta(days=3)
    BayBooking.objects.create(
        task=task, bay=first, person=owner, starts_at=later, ends_at=later + dt.timedelta(hours=2)
    )
    planned = floor_of(NOON)[0].tasks[0]
    assert (planned.bay, planned.person, planned.booked) == (first.pk, owner.pk, later)
    assert readiness([job], NOON)[job.pk].by.early > later
    assert plan_of(job, NOON).picture.bars[0].begins == later
    over = floor_of(later + dt.timedelta(hours=3))[0].tasks[0]
    assert (over.bay, over.person, over.booked) == (second.pk, None, None)


def test_a_part_that_was_taken_off_by_mistake_is_put_back_as_it_was(job: Job, tech: User, client_as: Any) -> None:
    trim, seal, _test = three(job, tech)
    plan_waits.task_part_add(task=trim, by=tech, name="Clip", part="TW-7", quantity=3, expected_on=dt.date(2030, 3, 20))
    client: Client = client_as("technician")
    gone = {"part": str(TaskPart.objects.get().pk), "stay": "1"}
    page = client.post(f"/tasks/{trim.pk}/part-remove/", gone, follow=True).content.decode()
    assert not TaskPart.objects.exists()
    assert "You took Clip off." in page
    assert "You took Clip off." not in client.get(f"/tasks/{seal.pk}/").content.decode()
    page = client.post(f"/tasks/{trim.pk}/part-return/", {"stay": "1"}, follow=True).content.decode()
    back = TaskPart.objects.get()
    assert (back.task, back.name, back.part, back.quantity) == (trim, "Clip", "TW-7", 3)
    assert (back.expected_on, back.here_on) == (dt.date(2030, 3, 20), None)
    assert "You took Clip off." not in page
    again = client.post(f"/tasks/{trim.pk}/part-return/", {"stay": "1"}, follow=True)
    assert "can be put back" in again.content.decode()
    assert TaskPart.objects.count() == 1


def test_two_who_take_the_same_part_off_are_told(job: Job, tech: User) -> None:
    trim, *_rest = three(job, tech)
    row = plan_waits.task_part_add(task=trim, by=tech, name="Clip")
    plan_waits.task_part_remove(row=TaskPart.objects.get(), by=tech)
    with pytest.raises(Conflict, match="Clip is taken off already"):
        plan_waits.task_part_remove(row=row, by=tech)


def test_what_came_back_is_read_after_the_lock(job: Job, tech: User, noon: Any) -> None:
    """The page still says sent, somebody else has just said that it was not: refused, and nothing is back."""
    away = plans.task_add(job=job, by=tech, title="Paint", kind="outside", outside_days=10)
    stale = plan_waits.outside_sent(task=away, by=tech, on=dt.date(2026, 3, 9))
    plan_waits.outside_sent(task=away, by=tech, on=None)
    assert stale.outside_sent_on
    with pytest.raises(Conflict, match="was not sent yet"):
        plan_waits.outside_back(task=stale, by=tech, on=dt.date(2026, 3, 10))
    away.refresh_from_db()
    assert (away.outside_sent_on, away.outside_back_on) == (None, None)


@pytest.mark.parametrize(
    ("wall", "instant"),
    [
        ("2026-03-29T01:30", dt.datetime(2026, 3, 29, 0, 30, tzinfo=dt.UTC)),
        ("2026-03-29T02:30", None),  # skipped
        ("2026-03-29T03:30", dt.datetime(2026, 3, 29, 1, 30, tzinfo=dt.UTC)),
        ("2026-10-25T01:30", dt.datetime(2026, 10, 24, 23, 30, tzinfo=dt.UTC)),
        ("2026-10-25T02:30", None),  # twice
        ("2026-10-25T03:30", dt.datetime(2026, 10, 25, 2, 30, tzinfo=dt.UTC)),
    ],
)
def test_a_clock_set_in_the_night_in_which_the_clocks_change(
    job: Job, tech: User, wall: str, instant: dt.datetime | None
) -> None:
    trim, *_rest = three(job, tech)
    clock = Clock(task=trim, person=tech, started_at=NOON)
    with timezone.override("Europe/Berlin"):
        form = ClockForm(clock, {"stopped_at": wall, "why": "Night"}, both=False)
        if instant is None:
            assert form.errors["stopped_at"] == [
                "The clocks change in that hour: that time comes twice on this day, or not at all. Give one before or "
                "after it."
            ]
        else:
            assert form.is_valid()
            assert form.cleaned_data["stopped_at"] == instant


def test_the_end_that_is_offered_for_a_clock_is_a_time_that_there_is(job: Job, tech: User) -> None:
    """Started at half past one: an hour later it is half past three."""
    trim, *_rest = three(job, tech)
    with timezone.override("Europe/Berlin"):
        started = dt.datetime(2026, 3, 29, 0, 30, tzinfo=dt.UTC)
        offered = ClockForm(Clock(task=trim, person=tech, started_at=started), both=False).initial["stopped_at"]
        assert (offered.hour, offered.minute) == (3, 30)


def test_every_word_of_the_templates_can_be_translated() -> None:
    words: set[str] = set()
    for template in _templates().values():
        words.add(template.title)
        for task in template.tasks:
            words |= {task.title, task.caution, *task.parts}
    assert set(TEMPLATE_WORDS) == words - {""}
    assert len(TEMPLATE_WORDS) == len(set(TEMPLATE_WORDS))


def test_a_template_is_offered_and_taken_in_the_language_of_whoever_takes_it(
    job: Job, tech: User, client_as: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in ("shop.views.plans", "shop.services.plans"):
        monkeypatch.setattr(f"{module}._", lambda words: f"«{words}»")
    client: Client = client_as("technician")
    assert "«Seal set»" in client.get(f"/jobs/{job.pk}/plan/").content.decode()
    client.post(f"/jobs/{job.pk}/plan/template/", {"template": "seal-set"})
    task = Task.objects.get(kind_of_work="seal-set/fit")
    assert task.title == "«Fit the new seals»"
    assert task.parts.get().name == "«Seal set»"
    assert Task.objects.get(kind_of_work="seal-set/adjust").caution.startswith("«Clear")


def test_the_picture_lies_on_days_and_says_beside_it_when_each_task_is(job: Job, tech: User, client_as: Any) -> None:
    """Noon in UTC on Tuesday 10 March 2026; the shop opens at eight, closes at five, with its break at noon."""
    _trim, seal, _test = three(job, tech)
    plans.task_add(job=job, by=tech, title="Wash", planned_minutes=30)
    plans.task_change(task=seal, by=tech, title="Seal", planned_minutes=600)
    picture = plan_of(job, NOON).picture
    assert [bar.title for bar in picture.bars] == ["Trim", "Wash", "Seal", "Water test"]
    assert [bar.on_chain for bar in picture.bars] == [True, False, True, True]
    assert [bar.x for bar in picture.bars] == pytest.approx([0, 0, 60 / 6.9, 660 / 6.9], abs=0.01)
    assert picture.bars[1].slack == "11 h"
    assert picture.bars[1].slack_x == 100
    assert [tick.words for tick in picture.ticks] == ["Tue 10 Mar", "Wed 11 Mar"]
    page = client_as("technician").get(f"/jobs/{job.pk}/plan/").content.decode()
    assert "none: on the chain" in page
    assert "pl-chain" in page
