"""Two people at once, on both databases: one is first, the other is told, nothing is kept twice or half."""

import threading
import time
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connections

from diagnostics import services as bench
from diagnostics.models import BenchSheet, Check, Unit, Work
from reports.models import Certificate
from reports.services import certificate_freeze
from shop import gates
from shop.errors import Conflict, NotDone
from shop.models import Job, Stage, TaskRun, TrailEntry, User
from shop.services import job_hold, job_move, job_open

pytestmark = pytest.mark.django_db(transaction=True)
WORN = {"check": "pin-by-hand", "position": "BG11", "pressed_volts": 12.2, "released_volts": 12.2, "supply_volts": 12.4}


def together(*acts: Callable[[], object]) -> list[Any]:
    """Run all acts in threads that start at once; what each returned or raised."""
    start, results = threading.Barrier(len(acts)), [None] * len(acts)

    def one(index: int) -> None:
        try:
            start.wait()
            results[index] = acts[index]()
        except Exception as error:
            results[index] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=one, args=(index,)) for index in range(len(acts))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return list(results)


def enter(sheet: BenchSheet, by: User, **observation: Any) -> Check:
    return bench.check_add(sheet=sheet, by=by, observation=observation, entry_id=uuid.uuid4())


@pytest.fixture
def slow_gate(monkeypatch: pytest.MonkeyPatch) -> threading.Event:
    """The gate looks, and the look is told, some time before the job is moved: long enough for somebody to write."""
    looked, real = threading.Event(), gates.reasons_not_done

    def look(job: Job) -> list[str]:
        reasons = real(job)
        looked.set()
        time.sleep(0.5)
        return reasons

    monkeypatch.setattr(gates, "reasons_not_done", look)
    return looked


def test_no_entry_slips_in_while_a_job_is_called_done(
    job: Job, sheet: BenchSheet, tech: User, slow_gate: threading.Event
) -> None:
    def late() -> Check:
        slow_gate.wait()
        return enter(sheet, tech, **WORN)

    moved, entered = together(lambda: job_move(job=job, by=tech, stage=Stage.DONE), late)
    assert isinstance(moved, Job), moved
    assert isinstance(entered, Conflict), entered
    assert not Check.objects.exists()


def test_no_proof_is_struck_out_while_a_job_is_called_done(
    job: Job, sheet: BenchSheet, tech: User, slow_gate: threading.Event
) -> None:
    bench.work_add(job=job, by=tech, position="BG11", kind="plug-in")
    proof = enter(sheet, tech, **{**WORN, "pressed_volts": 0.1})

    def late() -> Check:
        slow_gate.wait()
        return bench.check_strike(check=proof, by=tech, why="wrong pin")

    moved, struck = together(lambda: job_move(job=job, by=tech, stage=Stage.DONE), late)
    assert isinstance(moved, Job), moved
    assert isinstance(struck, Conflict), struck
    assert Check.objects.get().struck_at is None


def test_of_two_who_strike_one_is_first(sheet: BenchSheet, tech: User, owner: User) -> None:
    check = enter(sheet, tech, check="battery", volts=12.6)
    outcomes = together(
        *[
            lambda by=by: bench.check_strike(check=Check.objects.get(), by=by, why=f"seen by {by}")
            for by in (tech, owner, tech, owner)
        ]
    )
    assert sum(isinstance(one, Check) for one in outcomes) == 1, outcomes
    assert sum(isinstance(one, Conflict) for one in outcomes) == 3, outcomes
    check.refresh_from_db()
    assert check.struck_by is not None
    assert check.struck_why == f"seen by {check.struck_by}"
    assert TrailEntry.objects.filter(kind="check.struck").count() == 1


def test_a_closed_sheet_has_every_entry_that_was_let_in(sheet: BenchSheet, tech: User, owner: User) -> None:
    closed, *entries = together(
        lambda: bench.sheet_close(sheet=sheet, by=owner),
        *[lambda: enter(sheet, tech, check="battery", volts=12.6) for _ in range(5)],
    )
    assert isinstance(closed, BenchSheet), closed
    kept = [one for one in entries if isinstance(one, Check)]
    assert all(isinstance(one, Check | Conflict) for one in entries), entries
    assert sheet.checks.count() == len(kept)
    assert all(one.at <= closed.closed_at for one in kept)
    assert f"with {len(kept)} checks" in TrailEntry.objects.get(kind="sheet.closed").words


def test_a_replacement_sent_twice_is_booked_once(job: Job, sheet: BenchSheet, tech: User) -> None:
    fitted = {"position": "BG11", "kind": "replace", "part": "TW-BGF-3503"}
    outcomes = together(*[lambda: bench.work_add(job=job, by=tech, **fitted) for _ in range(4)])
    assert sum(isinstance(one, Work) for one in outcomes) == 1, outcomes
    assert sum(isinstance(one, Conflict) for one in outcomes) == 3, outcomes
    assert (Work.objects.count(), Unit.objects.count()) == (1, 2)


def test_other_work_sent_twice_is_booked_once(job: Job, sheet: BenchSheet, tech: User) -> None:
    outcomes = together(*[lambda: bench.work_add(job=job, by=tech, position="BG11", kind="adjust") for _ in range(4)])
    assert sum(isinstance(one, Work) for one in outcomes) == 1, outcomes
    assert sum(isinstance(one, Conflict) for one in outcomes) == 3, outcomes


def test_two_jobs_of_one_car_fit_one_unit_at_a_position(job: Job, sheet: BenchSheet, tech: User) -> None:
    other = job_open(car=job.car, by=tech, title="Second look", stage=Stage.HERE)
    acts = [
        lambda job=job, serial=serial: bench.work_add(
            job=job, by=tech, position="BG11", kind="replace", part="TW-BGF-3503", serial=serial
        )
        for job, serial in ((job, "1"), (other, "2"), (job, "3"), (other, "4"))
    ]
    outcomes = together(*acts)
    booked = [one for one in outcomes if isinstance(one, Work)]
    assert all(isinstance(one, Work | Conflict) for one in outcomes), outcomes
    assert booked
    assert Unit.objects.filter(removed_on=None).count() == 1
    assert Unit.objects.count() == len(booked) + 1
    chain = {work.new_unit_id for work in booked} - {work.old_unit_id for work in booked}
    assert len(chain) == 1  # every unit but the last was taken off by the next work


def test_a_certificate_asked_for_by_many_is_one(checked: Job, tech: User, owner: User) -> None:
    outcomes = together(*[lambda by=by: certificate_freeze(job=checked, by=by) for by in (tech, owner, tech, owner)])
    assert {one[0].number for one in outcomes} == {Certificate.objects.get().number}, outcomes
    assert TaskRun.objects.count() == 1


def test_of_two_who_move_a_job_none_is_lost(job: Job, tech: User, owner: User) -> None:
    stages = [Stage.TRACING, Stage.MENDING, Stage.PROVING, Stage.DONE]
    outcomes = together(
        *[lambda stage=stage: job_move(job=Job.objects.get(pk=job.pk), by=tech, stage=stage) for stage in stages],
        lambda: job_hold(job=Job.objects.get(pk=job.pk), by=owner, hold="part", note="seal"),
    )
    assert all(isinstance(one, Job | NotDone | Conflict) for one in outcomes), outcomes
    job.refresh_from_db()
    assert (job.finished_at is not None) == (job.stage == Stage.DONE)
    moves = TrailEntry.objects.filter(job=job, kind="job.moved").order_by("pk").values_list("words", flat=True)
    assert list(moves)[-1].rstrip(".").endswith(str(Stage(job.stage).label))
