"""What the figures read from the books: hours and clocks, the stage and hold of entries of old, and how the suspects
stood before the work."""

import datetime as dt
import importlib
import uuid
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from diagnostics import services as bench
from diagnostics.engine.faults import mode_of
from diagnostics.engine.results import Suspect
from diagnostics.learning.records import month_of
from diagnostics.models import BenchSheet, Work
from diagnostics.selectors.suspects import diagnosis_of_sheet
from diagnostics.selectors.systems import system_of
from reports.figures.records import Facts, Span
from reports.figures_selectors import facts_of
from reports.models import SuspectHit
from reports.suspect_hits import KIND, hits_count, hits_run, jobs_to_count
from shop import services
from shop.models import Car, Clock, Job, Stage, Task, TaskRun, TrailEntry, User
from shop.runs import Cancelled, run_queue
from tests.shop.estimating import line_of

pytestmark = pytest.mark.django_db
SPAN = Span(2026 * 12, 2026 * 12 + 2)
"""January to March 2026."""


def _at(month: int, day: int = 1, hour: int = 9) -> dt.datetime:
    return dt.datetime(2026, month, day, hour, tzinfo=dt.UTC)


def _done(job: Job, opened: dt.datetime, finished: dt.datetime) -> Job:
    Job.objects.filter(pk=job.pk).update(stage=Stage.DONE, opened_at=opened, finished_at=finished)
    job.refresh_from_db()
    return job


def _this_month() -> Span:
    month = month_of(timezone.localdate())
    return Span(month, month)


def _facts(*figures: str, system: str | None = None, span: Span = SPAN) -> Facts:
    return facts_of(span, figures=figures, systems={}, system=system)


def _clock(task: Task, person: User, start: dt.datetime, minutes: float | None) -> Clock:
    end = None if minutes is None else start + dt.timedelta(minutes=minutes)
    return Clock.objects.create(task=task, person=person, started_at=start, stopped_at=end)


class TestHours:
    def test_sold_is_what_the_customer_approved_in_hours_in_the_version_that_counts(
        self, job: Job, counter: User
    ) -> None:
        version = services.estimate_make(job=job, by=counter, from_plan=False)
        for more in ({}, {"quantity": Decimal("1.5")}, {"unit": "flat"}, {"kind": "part", "unit": "h"}):
            line_of(version, counter, **more)
        refused = line_of(version, counter, quantity=Decimal(8))
        services.estimate_send(version=version, by=counter, to="", hold=False)
        answers = {line.pk: "declined" if line == refused else "approved" for line in version.lines.all()}
        services.answers_keep(version=version, answers=answers, name="Ada")
        _done(job, _at(1), _at(1, 9))
        assert [one.sold for one in _facts("hours").jobs] == [Decimal("3.50")]
        later = services.version_next(version=version, by=counter)
        assert [one.sold for one in _facts("hours").jobs] == [Decimal("3.50")], "a draft changes nothing"
        services.estimate_send(version=later, by=counter, to="", hold=False)
        assert [one.sold for one in _facts("hours").jobs] == [None], "nobody has approved the new version yet"

    def test_planned_is_the_work_here_that_was_not_dropped(self, job: Job) -> None:
        usual: dict[str, Any] = {"job": job, "planned_minutes": 60}
        Task.objects.create(number=1, title="Switch", **usual)
        Task.objects.create(number=2, title="Dropped", state="dropped", ended_at=_at(1), **usual)
        Task.objects.create(number=3, title="Chrome", kind="outside", outside_days=5, **usual)
        _done(job, _at(1), _at(1, 9))
        assert [one.planned for one in _facts("hours").jobs] == [60]

    def test_worked_is_what_stopped_clocks_say_and_no_struck_or_running_one(self, job: Job, tech: User) -> None:
        task = Task.objects.create(job=job, number=1, title="Switch")
        _clock(task, tech, _at(1, 5), None)
        _clock(task, tech, _at(1, 6), 0)
        _done(job, _at(1), _at(1, 9))
        assert [one.worked for one in _facts("hours").jobs] == [None]
        assert not _facts("people").shifts
        _clock(task, tech, _at(1, 7), 90)
        _clock(task, tech, _at(1, 8), 30)
        assert [one.worked for one in _facts("hours").jobs] == [7200.0]
        assert [one.seconds for one in _facts("people").shifts] == [5400.0, 1800.0]

    def test_a_clock_is_of_the_day_on_which_it_was_started_by_the_shops_own_time(
        self, job: Job, tech: User, owner: User, settings: Any
    ) -> None:
        settings.TIME_ZONE = "America/New_York"
        task = Task.objects.create(job=job, number=1, title="Switch")
        _clock(task, tech, _at(1, 1, 2), 60)  # still December there
        _clock(task, owner, _at(4, 1, 2), 60)  # still March there
        assert [(one.person, one.on) for one in _facts("people").shifts] == [("owner", dt.date(2026, 3, 31))]

    def test_of_one_top_system_are_its_own_cars_only(self, job: Job, tech: User) -> None:
        _clock(Task.objects.create(job=job, number=1, title="Switch"), tech, _at(1, 7), 90)
        _done(job, _at(1), _at(1, 9))
        for figure in ("hours", "people"):
            own, other = _facts(figure, system="rht-trio"), _facts(figure, system="softline-electro")
            assert (len(own.jobs), len(other.jobs), len(other.shifts)) == (1, 0, 0)


class TestEntriesOfOld:
    """Rows of before `became` get it from their words, which were in English."""

    @pytest.fixture
    def fill(self) -> Any:
        state = MigrationExecutor(connection).loader.project_state(("shop", "0007_figures"))
        migration = importlib.import_module("shop.migrations.0007_figures")
        return lambda: migration.fill(state.apps, None)

    @pytest.fixture
    def bare(self, car: Car, tech: User) -> Job:
        """A job of which the trail says nothing yet."""
        at = _at(1)
        return Job.objects.create(
            car=car, title="Closing stops", stage=Stage.HERE, opened_at=at, opened_by=tech, held_since=at
        )

    def _tell(self, job: Job, *said: tuple[str, str]) -> None:
        TrailEntry.objects.bulk_create(
            TrailEntry(at=_at(1, day), car=job.car, job=job, kind=kind, words=words)
            for day, (kind, words) in enumerate(said, start=1)
        )

    def _became(self, job: Job) -> list[str]:
        return list(TrailEntry.objects.filter(job=job).order_by("at").values_list("became", flat=True))

    def test_moves_holds_and_the_opening_are_understood(self, bare: Job, fill: Any) -> None:
        self._tell(
            bare,
            ("job.opened", "J00001 opened: Booked → Done. Really."),
            ("job.noted", "J00001: Booked → Done."),
            ("job.held", "J00001 waits for the customer. Waits for nothing."),
            ("job.moved", "J00001: Booked → Taken in."),
            ("job.held", "J00001 waits for a part."),
            ("job.held", "J00001 is in the way."),
            ("job.overridden", "J00001: Proving → Done. Against: BG3: made → released. Why: it rains."),
            ("job.moved", "J00001: Done → Handed over."),
        )
        fill()
        assert self._became(bare) == ["booked", "", "customer", "here", "part", "", "done", "gone"]

    def test_a_job_that_never_moved_stands_where_it_was_opened(self, bare: Job, fill: Any) -> None:
        self._tell(bare, ("job.opened", "J00001 opened: Closing stops."), ("job.held", "J00001 waits for a bay."))
        fill()
        assert self._became(bare) == ["here", "bay"]

    def test_every_stage_and_hold_of_the_shop_is_known_to_it(self) -> None:
        """That of its day: a stage or hold that came later was written down as a value from the start."""
        migration = importlib.import_module("shop.migrations.0007_figures")
        assert set(migration.STAGES.values()) == {one.value for one in Stage}


def _work(job: Job, by: User, **more: Any) -> Work:
    return bench.work_add(job=job, by=by, **({"position": "BG3", "kind": "plug-in", "mode": "unplugged"} | more))


def _found(sheet: BenchSheet, suspect: Suspect, by: User) -> None:
    """Work that says that the suspect was right."""
    assert sheet.revision is not None
    kind = mode_of(system_of(sheet.revision), suspect.fault).repair
    part = "TW-NEW-1" if kind == "replace" else ""
    _work(sheet.job, by, position=suspect.fault.position, mode=suspect.fault.mode, kind=kind, part=part)


def _suspects(sheet: BenchSheet) -> tuple[Suspect, ...]:
    """As the bench sheet shows them."""
    found = diagnosis_of_sheet(sheet)
    assert found is not None
    return found.suspects


def _enter(sheet: BenchSheet, by: User, **observation: Any) -> None:
    bench.check_add(sheet=sheet, by=by, observation=observation, entry_id=uuid.uuid4())


class TestSuspects:
    def test_only_done_jobs_with_something_found_are_counted_and_each_once(
        self, checked: Job, car: Car, tech: User
    ) -> None:
        other = services.job_open(car=car, by=tech, title="Look", stage=Stage.HERE)
        _work(other, tech, kind="adjust", mode=Work.PRECAUTION)
        _done(other, _at(1), _at(1, 9))
        _work(checked, tech)
        assert not jobs_to_count(), "the job is not done"
        _done(checked, _at(1), timezone.now())
        assert list(jobs_to_count()) == [checked]
        assert (hits_count(), hits_count()) == (1, 0)
        Job.objects.filter(pk=checked.pk).update(finished_at=timezone.now())
        assert list(jobs_to_count()) == [checked], "it was taken back, and done anew"
        assert hits_count() == SuspectHit.objects.count() == 1

    def test_the_suspects_are_those_of_before_the_work(self, checked: Job, sheet: BenchSheet, tech: User) -> None:
        """What a check showed after the work was no ground for the suspicion before."""
        first, *others = _suspects(sheet)
        _found(sheet, first, tech)
        _done(checked, _at(1), timezone.now())
        hits_count()
        kept = SuspectHit.objects.get()
        assert kept.place == 1
        wrong = (1 - first.probability) ** 2 + sum(one.probability**2 for one in others)
        assert kept.brier == pytest.approx(wrong, abs=0.01), "what is too unlikely to be shown weighs next to nothing"
        Job.objects.filter(pk=checked.pk).update(stage=Stage.PROVING, finished_at=None)
        _enter(sheet, tech, check="pin", position="BG8", pose="open", volts=0.1, supply_volts=12.4)
        _done(checked, _at(1), timezone.now())
        hits_count()
        assert [one.hit and one.hit.place for one in _facts("suspects", span=_this_month()).jobs] == [1]
        again = SuspectHit.objects.get()
        assert (again.place, again.brier, again.at) == (1, kept.brier, kept.at)
        assert again.counted_at > kept.counted_at

    def test_what_was_hardly_suspected_stands_at_its_place(self, checked: Job, sheet: BenchSheet, tech: User) -> None:
        suspects = _suspects(sheet)
        last = suspects[-1]
        _found(sheet, last, tech)
        _done(checked, _at(1), timezone.now())
        hits_count()
        kept = SuspectHit.objects.get()
        assert kept.place is not None
        assert kept.brier is not None
        before = sum(one.probability > last.probability for one in suspects)
        assert before > 3
        assert kept.place > before
        assert kept.brier > 1, "worse than suspecting nothing"

    def test_where_nothing_was_checked_before_nothing_was_suspected(
        self, job: Job, sheet: BenchSheet, tech: User
    ) -> None:
        _work(job, tech)
        _enter(sheet, tech, check="battery", volts=12.6)
        _done(job, _at(1), timezone.now())
        assert hits_count() == 1
        found = SuspectHit.objects.get()
        assert (found.place, found.brier) == (None, None)
        assert [one.hit for one in _facts("suspects", span=_this_month()).jobs] == [None]

    def test_a_run_tells_how_far_it_is_and_stops_when_called_off(self, checked: Job, tech: User, owner: User) -> None:
        _work(checked, tech)
        _done(checked, _at(1), timezone.now())
        run = run_queue(kind=KIND, title="Counting", by=owner)
        TaskRun.objects.filter(pk=run.pk).update(cancel_asked_at=timezone.now())
        with pytest.raises(Cancelled):
            hits_run(run)
        assert not SuspectHit.objects.exists()
        TaskRun.objects.filter(pk=run.pk).update(cancel_asked_at=None)
        hits_run(run)
        run.refresh_from_db()
        assert (run.done, run.total, SuspectHit.objects.count()) == (1, 1, 1)
