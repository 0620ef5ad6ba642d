"""The shop's day by two hands at once, on both databases: one is first, the other is told, nothing is kept twice or
half."""

import datetime as dt
import threading
import time
from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from shop import services
from shop.errors import Conflict
from shop.models import (
    Bay,
    BayBooking,
    Clock,
    EstimateVersion,
    Job,
    LineAnswer,
    Outlay,
    Task,
    TaskState,
    TrailEntry,
    User,
    VersionState,
)
from shop.services import clocks
from shop.services.bookings import Placed, booking_drop, booking_move, booking_place
from shop.services.comebacks import comeback_judge
from shop.services.plans import task_end
from tests.services.test_races import together
from tests.shop.bays import a_booking, a_task, at
from tests.shop.estimating import drafted, line_of, sent

pytestmark = pytest.mark.django_db(transaction=True)


def told(outcomes: list[Any], *, kind: type[Exception] = Conflict) -> list[str]:
    """What those were told who came second; nobody met anything else."""
    failed = [one for one in outcomes if isinstance(one, Exception)]
    assert all(isinstance(one, kind) for one in failed), outcomes
    return [str(one) for one in failed]


@pytest.fixture
def noon(monkeypatch: pytest.MonkeyPatch) -> dt.datetime:
    """It is noon: no clock that was started a little earlier ran over night."""
    now = at(12)
    monkeypatch.setattr(timezone, "now", lambda: now)
    return now


def running(task: Task, person: User, since: dt.datetime) -> Clock:
    return Clock.objects.create(task=task, person=person, started_at=since)


class TestClocks:
    def test_two_people_on_one_task_each_have_a_clock(self, job: Job, tech: User, owner: User, noon: Any) -> None:
        task = a_task(job)
        outcomes = together(*[lambda by=by: clocks.clock_start(task=task, by=by) for by in (tech, owner)])
        assert outcomes == [None, None]
        assert {one.person for one in Clock.objects.filter(stopped_at=None)} == {tech, owner}

    def test_one_person_who_taps_often_has_one_clock(self, job: Job, tech: User, noon: Any) -> None:
        task = a_task(job)
        outcomes = together(*[lambda: clocks.clock_start(task=task, by=tech) for _ in range(4)])
        assert not told(outcomes), "all four taps mean the same"
        assert Clock.objects.count() == 1

    def test_one_person_who_starts_two_tasks_at_once_works_on_one(self, job: Job, tech: User, noon: Any) -> None:
        tasks = [a_task(job, f"Task {number}") for number in range(4)]
        outcomes = together(*[lambda task=task: clocks.clock_start(task=task, by=tech) for task in tasks])
        refused = told(outcomes)
        assert all("at the same moment" in words for words in refused)
        assert Clock.objects.filter(stopped_at=None).count() == 1
        assert Clock.objects.count() == len(tasks) - len(refused)

    def test_a_clock_stopped_by_many_taps_stops_once(self, job: Job, tech: User, noon: dt.datetime) -> None:
        clock = running(a_task(job), tech, noon - dt.timedelta(hours=1))
        outcomes = together(*[lambda: clocks.clock_stop(clock=clock, by=tech) for _ in range(4)])
        assert not told(outcomes)
        assert {one.stopped_at for one in outcomes} == {Clock.objects.get().stopped_at}

    def test_the_time_that_somebody_set_stands_where_the_next_clock_starts_at_once(
        self, job: Job, tech: User, owner: User, noon: dt.datetime, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """The owner corrects a running clock while its person begins the next task: the tap stops what still runs and
        never writes over a time that was set by hand."""
        first, second = a_task(job, "First"), a_task(job, "Second")
        clock, end = running(first, tech, noon - dt.timedelta(hours=2)), noon - dt.timedelta(hours=1)
        seen, real = threading.Event(), clocks._stop

        def stop(clock: Clock) -> None:
            seen.set()
            time.sleep(0.5)  # long enough for the owner to write
            real(clock)

        def correct() -> Clock:
            seen.wait(10)
            return clocks.clock_set(clock=clock, by=owner, stopped_at=end, why="went to lunch")

        monkeypatch.setattr(clocks, "_stop", stop)
        outcomes = together(lambda: clocks.clock_start(task=second, by=tech), correct)
        assert not told(outcomes)
        clock.refresh_from_db()
        assert (clock.stopped_at, clock.why) == (end, "went to lunch")
        assert Clock.objects.get(stopped_at=None).task == second

    def test_no_clock_runs_on_a_task_that_is_ended_at_once(self, job: Job, tech: User, owner: User, noon: Any) -> None:
        task = a_task(job)
        ended, started = together(lambda: task_end(task=task, by=owner), lambda: clocks.clock_start(task=task, by=tech))
        assert isinstance(ended, list), ended
        assert started is None or "is ended" in str(started)
        assert Task.objects.get().state == TaskState.DONE
        assert not Clock.objects.filter(stopped_at=None).exists()


class TestBookings:
    def test_one_bay_is_booked_once_at_a_time(self, job: Job, tech: User, counter: User) -> None:
        bay, tasks = Bay.objects.create(name="Lift 1"), [a_task(job, f"Task {number}") for number in range(4)]
        acts = [
            lambda task=task, hour=9 + number / 4: booking_place(
                task=task, bay=bay, starts_at=at(hour), ends_at=at(hour + 2), by=tech
            )
            for number, task in enumerate(tasks)
        ]
        outcomes = together(*acts)
        refused = told(outcomes)
        assert sum(isinstance(one, Placed) for one in outcomes) == 1
        assert len(refused) == 3
        assert all("Lift 1 is taken then" in words for words in refused)
        assert BayBooking.objects.count() == TrailEntry.objects.filter(kind="booking.placed").count() == 1

    def test_two_bookings_moved_to_one_place_do_not_both_stand_there(self, job: Job, tech: User, counter: User) -> None:
        pit = Bay.objects.create(name="Pit")
        rows = [a_booking(job, today=False, starts_at=at(hour), ends_at=at(hour + 1)) for hour in (9, 11)]
        outcomes = together(
            *[
                lambda row=row, by=by: booking_move(
                    booking=row, bay=pit, person=None, starts_at=at(14), ends_at=at(15), seen=0, by=by
                )
                for row, by in zip(rows, (tech, counter), strict=True)
            ]
        )
        assert [words[:17] for words in told(outcomes)] == ["Pit is taken then"]
        assert BayBooking.objects.filter(bay=pit).count() == 1
        assert sorted(BayBooking.objects.values_list("sequence", flat=True)) == [0, 1]

    def test_of_two_who_move_one_booking_the_second_is_told(self, job: Job, tech: User, counter: User) -> None:
        row, bays = a_booking(job, today=False), [Bay.objects.create(name=name) for name in ("Pit", "Yard")]
        outcomes = together(
            *[
                lambda bay=bay, by=by: booking_move(
                    booking=row, bay=bay, person=None, starts_at=row.starts_at, ends_at=row.ends_at, seen=0, by=by
                )
                for bay, by in zip(bays, (tech, counter), strict=True)
            ]
        )
        (words,) = told(outcomes)
        assert "Somebody has moved this booking meanwhile" in words
        assert BayBooking.objects.get().sequence == 1

    def test_a_booking_that_is_moved_and_taken_out_at_once_is_one_of_both(
        self, job: Job, tech: User, counter: User
    ) -> None:
        row, pit = a_booking(job, today=False), Bay.objects.create(name="Pit")
        outcomes = together(
            lambda: booking_move(
                booking=row, bay=pit, person=None, starts_at=row.starts_at, ends_at=row.ends_at, seen=0, by=tech
            ),
            lambda: booking_drop(booking=row, seen=0, by=counter),
        )
        (words,) = told(outcomes)
        dropped = "taken this booking out" in words
        assert BayBooking.objects.filter(bay=pit).count() == (0 if dropped else 1)
        assert BayBooking.objects.count() == (0 if dropped else 1)


def answer(version: EstimateVersion, name: str, said: str = "approved") -> list[LineAnswer]:
    return services.answers_keep(
        version=EstimateVersion.objects.get(pk=version.pk),
        answers={line.pk: said for line in version.lines.all()},
        name=name,
    )


class TestEstimates:
    def test_a_line_is_answered_once(self, job: Job, counter: User) -> None:
        version, _token = sent(job, counter)
        line = version.lines.get(number=1)
        says = [("approved", "Ada"), ("declined", "Ben"), ("approved", "Cy"), ("declined", "Di")]
        outcomes = together(
            *[
                lambda said=said, name=name: services.answers_keep(version=version, answers={line.pk: said}, name=name)
                for said, name in says
            ]
        )
        refused = told(outcomes)
        kept = LineAnswer.objects.get()
        assert len(refused) == 3
        assert all(f"Answered already, by {kept.name}" in words for words in refused)
        assert (kept.answer, kept.name) in says
        assert TrailEntry.objects.filter(kind="estimate.answered").count() == 1

    def test_an_estimate_approved_twice_is_approved_once_and_whole(self, job: Job, counter: User) -> None:
        version, _token = sent(job, counter)
        outcomes = together(lambda: answer(version, "Ada"), lambda: answer(version, "Ben"))
        assert len(told(outcomes)) == 1
        kept = LineAnswer.objects.all()
        assert len(kept) == 2
        assert len({one.name for one in kept}) == 1, "no half of one and half of the other"

    def test_two_who_share_a_line_keep_nothing_of_the_second(self, job: Job, counter: User) -> None:
        version, _token = sent(job, counter)
        one, two = version.lines.order_by("number")
        outcomes = together(
            lambda: services.answers_keep(version=version, answers={one.pk: "approved"}, name="Ada"),
            lambda: services.answers_keep(
                version=version, answers={two.pk: "declined", one.pk: "declined"}, name="Ben"
            ),
        )
        assert len(told(outcomes)) == 1
        assert sorted(LineAnswer.objects.values_list("name", flat=True)) in (["Ada"], ["Ben", "Ben"])

    def test_an_answer_while_the_next_version_goes_out_is_kept_before_or_refused(self, job: Job, counter: User) -> None:
        earlier, _token = sent(job, counter)
        later = services.version_next(version=earlier, by=counter)
        answered, secret = together(
            lambda: answer(earlier, "Ada"),
            lambda: services.estimate_send(version=later, by=counter, to="", hold=False),
        )
        assert isinstance(secret, str), secret
        for version in (earlier, later):
            version.refresh_from_db()
        assert (earlier.state, later.state) == (VersionState.REPLACED, VersionState.SENT)
        if isinstance(answered, Exception):
            assert "A newer version of this estimate was sent" in told([answered])[0]
            assert not LineAnswer.objects.exists()
        else:
            assert all(one.at <= later.sent_at for one in answered)
            assert LineAnswer.objects.count() == 2

    def test_no_line_slips_into_what_is_just_sent(self, job: Job, counter: User, owner: User) -> None:
        version = drafted(job, counter)
        secret, line = together(
            lambda: services.estimate_send(version=version, by=counter, to="", hold=False),
            lambda: line_of(EstimateVersion.objects.get(pk=version.pk), owner, words="Slipped in"),
        )
        assert isinstance(secret, str), secret
        version.refresh_from_db()
        assert ("Slipped in" in version.text) == (not isinstance(line, Conflict))
        assert version.text.count("\n\n") == 2 + version.lines.count() - 1

    def test_a_draft_is_sent_once(self, job: Job, counter: User, owner: User) -> None:
        version = drafted(job, counter)
        outcomes = together(
            *[
                lambda by=by: services.estimate_send(
                    version=EstimateVersion.objects.get(pk=version.pk), by=by, to="", hold=True
                )
                for by in (counter, owner, counter)
            ]
        )
        assert len(told(outcomes)) == 2
        assert TrailEntry.objects.filter(kind="estimate.sent").count() == 1

    def test_one_draft_is_begun_and_its_lines_are_there_once(self, job: Job, counter: User, owner: User) -> None:
        version, _token = sent(job, counter)
        outcomes = together(*[lambda by=by: services.version_next(version=version, by=by) for by in (counter, owner)])
        assert ["There is a draft" in words for words in told(outcomes)] == [True]
        assert version.estimate.versions.get(state=VersionState.DRAFT).lines.count() == 2

    def test_two_who_begin_an_estimate_of_one_plan_do_not_offer_its_tasks_twice(
        self, job: Job, counter: User, owner: User
    ) -> None:
        a_task(job)
        outcomes = together(
            *[lambda by=by: services.estimate_make(job=job, by=by, from_plan=True) for by in (counter, owner)]
        )
        assert sorted(one.estimate.number for one in outcomes) == [1, 2]
        assert sum(one.lines.count() for one in outcomes) == 1

    def test_what_is_withdrawn_while_it_is_answered_is_one_of_both(self, job: Job, counter: User) -> None:
        version, _token = sent(job, counter)
        outcomes = together(
            lambda: services.estimate_withdraw(version=version, by=counter), lambda: answer(version, "Ada")
        )
        (words,) = told(outcomes)
        version.refresh_from_db()
        withdrawn = version.state == VersionState.WITHDRAWN
        assert ("was withdrawn" in words) == withdrawn
        assert LineAnswer.objects.exists() != withdrawn


def test_an_outlay_is_struck_once(job: Job, counter: User, owner: User) -> None:
    outlay = services.outlay_add(
        job=job, by=counter, kind="part", words="Seal", quantity=Decimal(1), unit="piece", unit_price=Decimal(12),
        tax_percent=Decimal(20),
    )  # fmt: skip
    outcomes = together(*[lambda by=by: services.outlay_strike(outlay=outlay, by=by) for by in (counter, owner)])
    assert told(outcomes) == ["This outlay is struck already."]
    assert Outlay.objects.get().struck_by_id is not None
    assert TrailEntry.objects.filter(kind="outlay.struck").count() == 1


def test_a_comeback_is_judged_once(job: Job, tech: User, counter: User, owner: User) -> None:
    long_ago = timezone.now() - dt.timedelta(days=40)
    Job.objects.filter(pk=job.pk).update(stage="gone", opened_at=long_ago, finished_at=long_ago)
    again = services.job_open(car=job.car, by=tech, title="Stops again")
    after: Callable[[], Job] = lambda: Job.objects.get(pk=job.pk)  # noqa: E731
    outcomes = together(
        lambda: comeback_judge(job=again, by=tech, after=after(), cause="same"),
        lambda: comeback_judge(job=again, by=owner, after=None),
    )
    assert len(told(outcomes)) == 1
    again.refresh_from_db()
    assert (again.comeback_of_id is None) == (again.comeback_cause == "")
    assert TrailEntry.objects.filter(kind__in=["job.comeback", "job.no-comeback"]).count() == 1
