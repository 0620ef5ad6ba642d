"""Learning at once with other learning and with decisions, and by a worker in another process; on both databases and
both brokers."""

import datetime as dt
import threading
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.contenttypes.models import ContentType

from diagnostics import services as bench
from diagnostics.models import BenchSheet, FailureModel, Learning, ProductionRange, RangeState, Sighting
from diagnostics.selectors.learning import CHANGED, fingerprint_now
from diagnostics.services import learning
from diagnostics.services.learning import learning_ask, learning_run
from diagnostics.services.ranges import range_confirm, range_dismiss
from diagnostics.tasks import learn_all
from shop.errors import Conflict
from shop.models import Job, RunState, TaskRun, TrailEntry, User
from shop.runs import run_cancel
from tests.diagnostics.learner import Learner, found_range
from tests.services.test_races import together

pytestmark = pytest.mark.django_db(transaction=True)
Wait = Callable[[Callable[[], bool]], None]
HEADER = ("rht-trio", "TW-BGA-3014")
EARLY = found_range(2001 * 12, 2004 * 12 + 2)


@pytest.fixture
def learner(monkeypatch: pytest.MonkeyPatch) -> Learner:
    fake = Learner()
    monkeypatch.setattr(learning, "compute", fake)
    monkeypatch.setattr("shop.runs.run_send", lambda *_all: None)
    monkeypatch.setattr(learning, "run_send", lambda *_all: None)
    return fake


@pytest.fixture
def sighted(sheet: BenchSheet) -> Callable[..., Sighting]:
    BenchSheet.objects.update(sighted=True)
    days = iter(range(1000))

    def add(failed: str = "") -> Sighting:
        on = dt.date(2020, 1, 1) + dt.timedelta(next(days))
        return Sighting.objects.create(
            sheet=sheet, car=sheet.car, system=HEADER[0], position=f"BG3-{on:%j}", part=HEADER[1], on=on,
            good=0 if failed else 1, failed=failed,
        )  # fmt: skip

    return add


def test_asked_for_by_many_it_is_one_run(learner: Learner, owner: User, tech: User) -> None:
    runs = together(*[lambda by=by: learning_ask(by=by) for by in (owner, tech, owner, tech)])
    assert {run.pk for run in runs} == {TaskRun.objects.get().pk}, runs


def test_many_changes_at_once_queue_one_run(learner: Learner, db: None) -> None:
    together(*[learning._queue_changed for _ in range(4)])
    assert TaskRun.objects.get().kind == CHANGED


def test_of_two_who_learn_at_once_one_looks_again(learner: Learner, sighted: Any) -> None:
    """Both have looked at the data before either keeps what it learned, and one of them at less of it."""
    sighted()
    both = threading.Barrier(2)

    def before(call: int) -> None:
        if call <= 2:
            both.wait(20)

    learner.before = before
    outcomes = together(learning_run, learning_run)
    assert not [one for one in outcomes if isinstance(one, Exception)], outcomes
    assert len(learner.asked) == 3
    assert Learning.objects.count() == 1
    assert FailureModel.objects.count() == 1
    assert Learning.objects.get().fingerprint == fingerprint_now()


def test_a_message_delivered_to_two_workers_learns_once(learner: Learner, sighted: Any, owner: User) -> None:
    sighted()
    run = learning_ask(by=owner)
    together(*[lambda: learn_all(str(run.pk)) for _ in range(3)])
    run.refresh_from_db()
    assert run.state == RunState.DONE
    assert len(learner.asked) == 1
    assert Learning.objects.count() == 1


def test_of_two_who_decide_one_is_first(learner: Learner, sighted: Any, owner: User) -> None:
    sighted()
    learner.ranges[HEADER] = (EARLY,)
    learning_run()
    found = ProductionRange.objects.get()
    decide = {"range": found, "by": owner, "seen_version": found.version}
    outcomes = together(
        lambda: range_confirm(**decide, note="Yes."),
        lambda: range_dismiss(**decide, note="No."),
        lambda: range_confirm(**decide, note="Yes, too."),
    )
    assert sum(isinstance(one, ProductionRange) for one in outcomes) == 1, outcomes
    assert sum(isinstance(one, Conflict) for one in outcomes) == 2, outcomes
    assert TrailEntry.objects.filter(kind__in=["range.confirmed", "range.dismissed"]).count() == 1


def test_a_decision_and_a_learning_at_once(learner: Learner, sighted: Any, owner: User) -> None:
    """Whichever is first: what was decided stands, and nobody is left waiting for the other."""
    sighted()
    learner.ranges[HEADER] = (EARLY,)
    learning_run()
    found = ProductionRange.objects.get()
    sighted(failed="stays-made")
    outcomes = together(
        learning_run, lambda: range_confirm(range=found, by=owner, note="Yes.", seen_version=found.version)
    )
    assert all(one is None or isinstance(one, Learning | ProductionRange | Conflict) for one in outcomes), outcomes
    found.refresh_from_db()
    assert (found.state == RangeState.CONFIRMED) == isinstance(outcomes[1], ProductionRange)
    assert ProductionRange.objects.count() == 1


def test_called_off_while_it_is_kept(learner: Learner, sighted: Any, owner: User, monkeypatch: Any) -> None:
    """Either it is called off and nothing is kept, or it is kept and the caller is told."""
    sighted()
    run = learning_ask(by=owner)
    keeping, real = threading.Event(), learning.learned_keep

    def keep(**all_: Any) -> Any:
        keeping.set()
        return real(**all_)

    monkeypatch.setattr(learning, "learned_keep", keep)

    def cancel() -> TaskRun:
        assert keeping.wait(20)
        return run_cancel(run=run, by=owner)

    _done, cancelled = together(lambda: learn_all(str(run.pk)), cancel)
    run.refresh_from_db()
    if isinstance(cancelled, Conflict):
        assert (run.state, Learning.objects.count()) == (RunState.DONE, 1)
    else:
        assert (run.state, Learning.objects.count()) == (RunState.CANCELLED, 0), cancelled


def test_the_row_that_learnings_wait_for_is_there_after_every_flush(db: None) -> None:
    assert ContentType.objects.filter(app_label="diagnostics", model="learning").count() == 1


def _state(run: TaskRun) -> str:
    return str(TaskRun.objects.values_list("state", flat=True).get(pk=run.pk))


def test_worker_learns_what_the_checks_say(checked: Job, owner: User, wait_for: Wait) -> None:
    run = learning_ask(by=owner)
    wait_for(lambda: _state(run) == RunState.DONE)
    kept = Learning.objects.get()
    assert (kept.by, kept.run_id, kept.cars, kept.sheets) == (owner, run.pk, 1, 1)
    assert kept.checks > 0
    assert FailureModel.objects.exists()
    assert not BenchSheet.objects.filter(sighted=False).exists()
    # Learned here, too, it is the same.
    before = list(FailureModel.objects.order_by("pk").values())
    assert learning_run() is None
    assert list(FailureModel.objects.order_by("pk").values()) == before


def test_worker_follows_when_a_sheet_is_closed(checked: Job, owner: User, tech: User, wait_for: Wait) -> None:
    learning_run()
    first = Learning.objects.get()
    sheet = checked.sheets.get()
    look = {"check": "look", "position": "MM4", "found": "leaks"}
    bench.check_add(sheet=sheet, by=tech, observation=look, entry_id=uuid.uuid4())
    bench.sheet_close(sheet=sheet, by=tech)
    wait_for(lambda: TaskRun.objects.filter(kind=CHANGED, state=RunState.DONE).exists())
    newest = Learning.objects.first()
    assert newest is not None
    assert (newest.whole, newest.pk != first.pk) == (False, True)
    assert FailureModel.objects.filter(mode="leaks", failed=1, learning=newest).exists()
