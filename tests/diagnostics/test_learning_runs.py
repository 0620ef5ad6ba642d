"""Learning as work in the background: asked for once, kept whole or not at all, called off, delivered twice."""

import datetime as dt
from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from diagnostics.models import FailureModel, Learning, ProductionRange, RangeState, Sighting
from diagnostics.selectors.learning import CHANGED, WHOLE, learning_state, snapshot_of
from diagnostics.services import learning
from diagnostics.services.learning import learning_ask, learning_nightly, learning_run
from diagnostics.services.ranges import range_confirm, range_dismiss, range_reopen
from diagnostics.tasks import learn_all, learn_changed, learn_nightly
from shop.errors import Conflict, Refused, ShopError
from shop.models import Car, Job, RunState, TaskRun, TrailEntry, User
from shop.runs import Cancelled, run_cancel, run_claim
from tests.diagnostics.bench import opened, publish
from tests.diagnostics.learner import Learner, found_range

pytestmark = pytest.mark.django_db

HEADER, LID = ("rht-trio", "TW-BGA-3014"), ("rht-trio", "TW-BGB-3022")
EARLY = found_range(2001 * 12, 2004 * 12 + 2)


@pytest.fixture
def learner(monkeypatch: pytest.MonkeyPatch) -> Learner:
    fake = Learner()
    monkeypatch.setattr(learning, "compute", fake)
    return fake


@pytest.fixture
def seen(job: Job, tech: User, owner: User) -> Callable[..., Sighting]:
    """One more thing that a sheet of the car says of a unit."""
    publish(owner)
    sheet = opened(job, tech)
    type(sheet).objects.filter(pk=sheet.pk).update(sighted=True)
    days = iter(range(1000))

    def add(part: str = HEADER[1], position: str = "BG3", failed: str = "") -> Sighting:
        on = dt.date(2020, 1, 1) + dt.timedelta(next(days))
        return Sighting.objects.create(
            sheet=sheet, car=job.car, system="rht-trio", position=f"{position}-{on:%j}", part=part, on=on,
            good=0 if failed else 1, failed=failed,
        )  # fmt: skip

    return add


def rows() -> dict[str, list[Any]]:
    return {
        model.__name__: list(model.objects.order_by("pk").values())
        for model in (Learning, FailureModel, ProductionRange, TrailEntry)
    }


def ranges() -> list[tuple[str, str, str]]:
    return [(f"{one.first:%Y-%m}", f"{one.last:%Y-%m}", one.state) for one in ProductionRange.objects.order_by("pk")]


def test_what_was_learned_is_kept_with_from_what(learner: Learner, seen: Any, owner: User) -> None:
    seen()
    seen(LID[1], failed="stays-made")
    learner.ranges[HEADER] = (EARLY,)
    run = learning_ask(by=owner)
    learn_all(str(run.pk))
    run.refresh_from_db()
    assert (run.state, run.done, run.total) == (RunState.DONE, 2, 2)
    kept = Learning.objects.get()
    assert (kept.by, kept.run, kept.whole, kept.cars, kept.units, kept.sheets, kept.seed) == (
        owner,
        run,
        True,
        1,
        2,
        1,
        7,
    )
    assert {(one.part, one.failed) for one in kept.models.all()} == {(HEADER[1], 0), (LID[1], 1)}
    found = ProductionRange.objects.get()
    assert (found.state, found.positions, found.learning) == (RangeState.PROPOSED, ["BG3", "BG4"], kept)
    model, here = snapshot_of(found)
    assert (here.first, here.last, here.ratio) == (EARLY.first, EARLY.last, EARLY.ratio)
    assert model.fingerprint == FailureModel.objects.get(part=HEADER[1]).fingerprint
    told = list(TrailEntry.objects.order_by("pk").values_list("kind", flat=True))
    assert told[-2:] == ["range.found", "learning.done"]


def test_nothing_changed_writes_nothing(learner: Learner, seen: Any) -> None:
    seen()
    learner.ranges[HEADER] = (EARLY,)
    assert learning_run() is not None
    before = rows()
    assert learning_run() is None
    assert learning_run(whole=False) is None
    assert rows() == before
    assert learner.asked == [None, None, frozenset()]


def test_only_what_changed_is_learned_anew_and_the_result_is_that_of_learning_all(learner: Learner, seen: Any) -> None:
    seen()
    seen(LID[1])
    learner.ranges[LID] = (EARLY,)
    learning_run()
    first = Learning.objects.get()
    seen(LID[1], failed="stays-made")
    learning.models_stale([LID])
    state = learning_state()
    assert (state.newest, state.waiting, state.stale, state.run) == (first, 0, 1, None)
    second = learning_run(whole=False)
    assert second is not None
    assert learner.asked[-1] == frozenset({LID})
    assert (second.whole, second.changed) == (False, 2)  # the model, and the proposal that was found in it
    assert {one.part: one.learning_id for one in FailureModel.objects.all()} == {HEADER[1]: first.pk, LID[1]: second.pk}
    partly = list(FailureModel.objects.order_by("pk").values("part", "units", "failed", "fingerprint", "document"))
    FailureModel.objects.all().delete()
    third = learning_run()
    assert third is not None
    assert third.fingerprint == second.fingerprint
    anew = list(FailureModel.objects.values("part", "units", "failed", "fingerprint", "document"))
    assert sorted(anew, key=lambda one: one["part"]) == sorted(partly, key=lambda one: one["part"])


def test_sheets_read_by_anybody_are_learned_from_all_the_same(
    learner: Learner, seen: Any, job: Job, tech: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command reads the sheets, too, and keeps no models."""
    seen()
    seen(LID[1])
    learning_run()
    monkeypatch.setattr(learning, "sightings_refresh", lambda limit: {LID})
    job.sheets.update(sighted=False)
    learning.sheets_read()
    job.sheets.update(sighted=True)
    learning_run(whole=False)
    assert learner.asked[-1] == frozenset({LID})


def test_a_part_never_learned_before_is_learned_with_what_changed(learner: Learner, seen: Any) -> None:
    seen()
    learning_run()
    seen(LID[1])
    learning_run(whole=False)
    assert learner.asked[-1] == frozenset({LID})
    Sighting.objects.filter(part=LID[1]).delete()
    learning.models_stale([LID])
    assert learning_run(whole=False) is not None
    assert set(FailureModel.objects.values_list("part", flat=True)) == {HEADER[1]}


def test_a_proposal_goes_on_moves_is_lost_and_comes_back(learner: Learner, seen: Any) -> None:
    seen()
    learner.ranges[HEADER] = (EARLY,)
    learning_run()
    found = ProductionRange.objects.get()
    # Mostly the same months: the same proposal, as it is found now.
    learner.ranges[HEADER] = (found_range(2001 * 12 + 3, 2004 * 12 + 6),)
    learning_run()
    assert ranges() == [("2001-04", "2004-07", "proposed")]
    moved = ProductionRange.objects.get()
    assert (moved.pk, moved.found_at, moved.version) == (found.pk, found.found_at, found.version + 1)
    # Mostly other months: another one.
    learner.ranges[HEADER] = (found_range(2003 * 12, 2009 * 12),)
    learning_run()
    assert ranges() == [("2001-04", "2004-07", "gone"), ("2003-01", "2009-01", "proposed")]
    # Not kept by the control over everything that was searched: no proposal.
    learner.ranges[HEADER] = (found_range(2003 * 12, 2009 * 12, found=False), EARLY)
    learning_run()
    assert ranges() == [("2001-01", "2004-03", "proposed"), ("2003-01", "2009-01", "gone")]
    kinds = TrailEntry.objects.filter(link=found.get_absolute_url()).order_by("pk").values_list("kind", flat=True)
    assert list(kinds) == ["range.found", "range.found", "range.gone", "range.found"]


def test_two_proposals_may_change_places(learner: Learner, seen: Any) -> None:
    seen()
    learner.ranges[HEADER] = (found_range(100, 109), found_range(104, 113))
    learning_run()
    learner.ranges[HEADER] = (found_range(104, 113), found_range(108, 117))
    learning_run()
    months = [(one.first, one.last) for one in ProductionRange.objects.filter(state=RangeState.PROPOSED)]
    assert len(months) == 2


def test_a_decision_stays_with_the_data_it_was_made_from(learner: Learner, seen: Any, owner: User) -> None:
    seen()
    learner.ranges[HEADER] = (EARLY, found_range(2008 * 12, 2009 * 12))
    learning_run()
    early, late = ProductionRange.objects.order_by("first")
    early = range_confirm(range=early, by=owner, note="Same grease in all of them.", seen_version=early.version)
    late = range_dismiss(range=late, by=owner, note="One fleet of taxis.", seen_version=late.version)
    before = [one.document for one in (early, late)]
    assert learning_state().stale == 1
    seen(failed="stays-made")
    # Found again with slightly other months: what was decided speaks of those, too.
    learner.ranges[HEADER] = (found_range(2001 * 12 + 2, 2004 * 12 + 2), found_range(2008 * 12, 2009 * 12 + 3))
    assert learning_run(whole=False) is not None
    assert learner.asked[-1] == frozenset({HEADER})
    assert ranges() == [("2001-01", "2004-03", "confirmed"), ("2008-01", "2009-01", "dismissed")]
    assert [one.document for one in ProductionRange.objects.order_by("first")] == before


def test_a_decision_taken_while_somebody_learns_is_followed_by_the_next(
    learner: Learner, seen: Any, owner: User
) -> None:
    seen()
    learner.ranges[HEADER] = (EARLY,)
    learning_run()

    def decide(call: int) -> None:
        if call == 2:
            found = ProductionRange.objects.get()
            range_confirm(range=found, by=owner, note="Seen on the old ones.", seen_version=found.version)

    learner.before = decide
    seen()
    learning_run()
    assert ProductionRange.objects.get().state == RangeState.CONFIRMED
    assert learning_state().stale == 1
    learning_run(whole=False)
    assert learner.asked[-1] == frozenset({HEADER})
    assert learning_state().stale == 0


def test_who_decides_says_why_and_sees_what_is_decided_upon(
    learner: Learner, seen: Any, owner: User, tech: User
) -> None:
    seen()
    learner.ranges[HEADER] = (EARLY,)
    learning_run()
    found = ProductionRange.objects.get()
    with pytest.raises(Refused):
        range_confirm(range=found, by=tech, note="Sure.", seen_version=found.version)
    with pytest.raises(ShopError, match="Say why"):
        range_confirm(range=found, by=owner, note="  ", seen_version=found.version)
    with pytest.raises(ShopError, match="501 characters"):
        range_confirm(range=found, by=owner, note="x" * 501, seen_version=found.version)
    decided = range_dismiss(range=found, by=owner, note="Chance.", seen_version=found.version)
    with pytest.raises(Conflict, match="Chance"):
        range_confirm(range=found, by=owner, note="Sure.", seen_version=found.version)
    with pytest.raises(Conflict, match="no longer proposed"):
        range_confirm(range=found, by=owner, note="Sure.", seen_version=decided.version)
    with pytest.raises(Refused):
        range_reopen(range=found, by=tech, note="", seen_version=decided.version)
    again = range_reopen(range=found, by=owner, note="Too early.", seen_version=decided.version)
    assert (again.state, again.note, again.decided_by, again.decided_at) == (RangeState.PROPOSED, "", None, None)
    with pytest.raises(Conflict, match="Nothing was decided"):
        range_reopen(range=found, by=owner, note="", seen_version=again.version)
    told = TrailEntry.objects.filter(link=found.get_absolute_url(), by=owner).order_by("pk")
    assert [one.kind for one in told] == ["range.dismissed", "range.reopened"]
    assert "Jan 2001 to Mar 2004 of TW-BGA-3014 (stays made). Chance." in told[0].words


def test_a_range_that_was_learned_anew_meanwhile_is_looked_at_again(learner: Learner, seen: Any, owner: User) -> None:
    seen()
    learner.ranges[HEADER] = (EARLY,)
    learning_run()
    found = ProductionRange.objects.get()
    seen()
    learning_run()
    with pytest.raises(Conflict, match="changed since you opened the page"):
        range_confirm(range=found, by=owner, note="Sure.", seen_version=found.version)


def test_a_failure_keeps_nothing(learner: Learner, seen: Any, owner: User, monkeypatch: pytest.MonkeyPatch) -> None:
    seen()
    learner.ranges[HEADER] = (EARLY,)
    learning_run()
    seen(failed="stays-made")
    seen(LID[1])
    before = rows()

    def broken(**_all: Any) -> int:
        raise RuntimeError("no room left")

    monkeypatch.setattr("diagnostics.services.learned.ranges_keep", broken)
    run = learning_ask(by=owner)
    learn_all(str(run.pk))
    run.refresh_from_db()
    assert run.state == RunState.FAILED
    assert "did not get through" in run.words
    assert rows() == before


def test_called_off_while_it_waits(learner: Learner, seen: Any, owner: User) -> None:
    seen()
    run = learning_ask(by=owner)
    ended = run_cancel(run=run, by=owner)
    assert (ended.state, ended.words) == (RunState.CANCELLED, "Cancelled by owner.")
    learn_all(str(run.pk))
    run.refresh_from_db()
    assert run.state == RunState.CANCELLED
    assert not learner.asked
    assert TrailEntry.objects.filter(kind="run.cancelled").count() == 1


def test_called_off_between_two_parts_everything_stays_as_it_was(learner: Learner, seen: Any, owner: User) -> None:
    seen()
    learning_run()
    seen(LID[1])
    seen(failed="stays-made")
    before = rows()
    run = learning_ask(by=owner)
    learner.before = lambda _call: run_cancel(run=run, by=owner)  # type: ignore[assignment,return-value]
    learn_all(str(run.pk))
    run.refresh_from_db()
    assert (run.state, run.words) == (RunState.CANCELLED, "Cancelled by owner.")
    assert run.ended_at is not None
    after = rows()
    told = after["TrailEntry"].pop()
    assert told["kind"] == "run.cancelled"
    assert after == before
    # What was not learned is not forgotten.
    learner.before = lambda _call: None
    assert learning_run(whole=False) is not None


def test_called_off_at_the_last_moment(
    learner: Learner, seen: Any, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After the last part and before it is kept."""
    seen()
    run = learning_ask(by=owner)
    real = learning.learned_keep

    def late(**all_: Any) -> Any:
        run_cancel(run=run, by=owner)
        return real(**all_)

    monkeypatch.setattr(learning, "learned_keep", late)
    learn_all(str(run.pk))
    run.refresh_from_db()
    assert run.state == RunState.CANCELLED
    assert not Learning.objects.exists()


def test_who_may_call_it_off(seen: Any, owner: User, tech: User, parts_user: User) -> None:
    run = learning_ask(by=tech)
    with pytest.raises(Refused):
        run_cancel(run=run, by=parts_user)
    run_cancel(run=run, by=owner)
    with pytest.raises(Conflict, match="has ended already: Cancelled"):
        run_cancel(run=run, by=tech)


def test_a_run_that_lost_its_worker_ends_when_cancel_is_pressed_again(seen: Any, owner: User) -> None:
    run = learning_ask(by=owner)
    run_claim(run)
    assert run_cancel(run=run, by=owner).state == RunState.RUNNING
    assert run_cancel(run=run, by=owner).state == RunState.RUNNING
    assert TrailEntry.objects.filter(kind="run.cancelled").count() == 1
    TaskRun.objects.update(cancel_asked_at=timezone.now() - dt.timedelta(minutes=2))
    assert run_cancel(run=run, by=owner).state == RunState.CANCELLED


def test_a_message_delivered_again_learns_once(learner: Learner, seen: Any, owner: User) -> None:
    seen()
    run = learning_ask(by=owner)
    learn_all(str(run.pk))
    before = rows()
    learn_all(str(run.pk))
    assert len(learner.asked) == 1
    assert rows() == before
    run.refresh_from_db()
    assert run.state == RunState.DONE


def test_a_message_delivered_while_another_worker_is_at_it_does_nothing(
    learner: Learner, seen: Any, owner: User
) -> None:
    seen()
    run = learning_ask(by=owner)
    run_claim(run)
    learn_all(str(run.pk))
    assert not learner.asked
    # Long after, that worker is lost, and the message that comes back takes its place.
    TaskRun.objects.update(started_at=timezone.now() - learning.LOST_AFTER - dt.timedelta(seconds=1))
    learn_all(str(run.pk))
    assert len(learner.asked) == 1
    run.refresh_from_db()
    assert run.state == RunState.DONE


def test_asking_twice_gives_the_run_that_is_there(seen: Any, owner: User, tech: User, counter: User) -> None:
    with pytest.raises(Refused):
        learning_ask(by=counter)
    run = learning_ask(by=owner)
    assert learning_ask(by=tech) == run
    assert learning_nightly() == run
    assert learning_state().run == run
    run_claim(run)
    assert learning_ask(by=tech) == run
    TaskRun.objects.update(started_at=timezone.now() - learning.LOST_AFTER - dt.timedelta(seconds=1))
    other = learning_ask(by=tech)
    assert other != run
    run.refresh_from_db()
    assert (run.state, run.words) == (RunState.FAILED, "The worker stopped before it was done.")


def test_the_clock_asks_for_it(seen: Any) -> None:
    learn_nightly()
    run = TaskRun.objects.get()
    assert (run.kind, run.by) == (WHOLE, None)


def test_one_that_waits_does_for_all_changes(
    learner: Learner, seen: Any, django_capture_on_commit_callbacks: Any
) -> None:
    seen()
    with django_capture_on_commit_callbacks(execute=True):
        learning.learning_follow()
        learning.learning_follow()
    run = TaskRun.objects.get()
    assert (run.kind, run.state, run.by) == (CHANGED, RunState.QUEUED, None)
    learn_changed(str(run.pk))
    assert Learning.objects.get().whole is False
    with django_capture_on_commit_callbacks(execute=True):
        learning.learning_follow()
    assert TaskRun.objects.filter(kind=CHANGED).count() == 2


def test_overtaken_it_looks_again(learner: Learner, seen: Any) -> None:
    """Another learning is kept while this one computes: this one may know less than it."""
    seen()

    def other(call: int) -> None:
        if call == 1:
            seen(failed="stays-made")
            assert learning_run() is not None

    learner.before = other
    assert learning_run() is None  # what it found the second time stands already
    assert FailureModel.objects.get().failed == 1
    assert len(learner.asked) == 3


def test_overtaken_it_learns_again_what_the_other_may_have_known_less_of(learner: Learner, seen: Any) -> None:
    seen()

    def other(call: int) -> None:
        if call == 1:
            learning_run(whole=False)

    learner.before = other
    assert learning_run(whole=False) is None
    assert learner.asked == [frozenset({HEADER})] * 3


def test_always_overtaken_it_says_so(learner: Learner, seen: Any) -> None:
    seen()

    def other(_call: int) -> None:
        learner.before, before = (lambda _call: None), learner.before
        seen()
        learning_run()
        learner.before = before

    learner.before = other
    with pytest.raises(Conflict, match="Others were learning"):
        learning_run()


def test_the_page_of_the_run(
    client_as: Callable[[str], Client], learner: Learner, seen: Any, tech: User, car: Car
) -> None:
    seen()
    seen(LID[1])
    run = learning_ask(by=tech)
    address = run.get_absolute_url()
    assert 'id="run-cancel"' in client_as("technician").get(address).content.decode()
    assert 'id="run-cancel"' in client_as("owner").get(address).content.decode()
    assert 'id="run-cancel"' not in client_as("parts").get(address).content.decode()
    texts = []
    learner.before = lambda _call: texts.append("")

    def tell(done: int, total: int, words: str) -> None:
        learning._tell_run(run, done, total, words)
        texts.append(client_as("parts").get(address).content.decode())

    run_claim(run)
    learning_run(run=run, tell=tell)
    assert "TW-BGB-3022 of rht-trio" in texts[-1]
    assert "1 of 2 parts, 1 left" in texts[-1]
    run.refresh_from_db()
    done = client_as("technician").get(address).content.decode()
    assert 'href="/ranges/"' in done
    assert "run-cancel" not in done
    other = learning_ask(by=tech)
    run_claim(other)
    run_cancel(run=other, by=tech)
    stopping = client_as("technician").get(other.get_absolute_url()).content.decode()
    assert "It stops as soon as" in stopping
    assert "run-cancel" not in stopping
    TaskRun.objects.filter(pk=other.pk).update(cancel_asked_at=timezone.now() - dt.timedelta(minutes=2))
    answer = client_as("technician").post(f"{other.get_absolute_url()}cancel/", follow=True)
    assert "Cancelled by tech." in answer.content.decode()
    assert "Nothing was kept of it" in answer.content.decode()


def test_cancelled_reaches_whoever_learns_without_a_run(learner: Learner, seen: Any) -> None:
    seen()

    def stop(*_all: Any) -> None:
        raise Cancelled

    with pytest.raises(Cancelled):
        learning_run(tell=stop)
    assert not Learning.objects.exists()
