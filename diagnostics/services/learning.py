"""Learning failure patterns from the shop's own checks: asked for, queued, run, kept.

The worker, the command and the demo all come through learning_run, so that the same data gives the same models whoever
learns.
"""

from collections.abc import Callable, Collection
from datetime import timedelta
from functools import partial
from typing import TYPE_CHECKING

from django.db import transaction
from django.urls import reverse
from django.utils.translation import gettext as _

from diagnostics.models import BenchSheet, FailureModel, Learning, Sighting
from diagnostics.selectors.learning import CHANGED, STALE, WHOLE, Group, newest_learning, stale_groups
from diagnostics.services.learned import Basis, Overtaken, learn_alone, learned_keep, models_stale
from diagnostics.services.sightings import sightings_refresh
from shop.errors import Conflict
from shop.models import Car, RunState, TaskRun, User
from shop.permissions import require
from shop.runs import run_is_alive, run_progress, run_queue, run_send

if TYPE_CHECKING:
    from diagnostics.selectors.computed import Computed

LOST_AFTER = timedelta(minutes=30)
"""A learning that has waited or run for longer is lost with its message or its worker."""
SHEETS_AT_ONCE = 100
"""Bench sheets that are read in one transaction; other people's writes wait for no more than that."""
ATTEMPTS = 4
FACTS = frozenset({"made_on", "year_only", "known_from", "climate"})
"""Of a car, that the learning knows its units by."""
Tell = Callable[[int, int, str], None]
"""done, total, words; may raise Cancelled."""


@transaction.atomic
def learning_ask(*, by: User) -> TaskRun:
    """Queue the learning of everything; where one waits or runs already, that one."""
    require(by, "learning.ask")
    return _ask(by)


@transaction.atomic
def learning_nightly() -> TaskRun:
    """As learning_ask, by the clock."""
    return _ask(None)


def _ask(by: User | None) -> TaskRun:
    from diagnostics.tasks import learn_all  # the task calls this module

    learn_alone()
    for run in TaskRun.objects.filter(kind=WHOLE, state__in=[RunState.QUEUED, RunState.RUNNING]):
        if run_is_alive(run, lost_after=LOST_AFTER, words=_lost_words()):
            return run
    run = run_queue(kind=WHOLE, title=_("Learning failure patterns"), by=by, result_url=_shown_at())
    transaction.on_commit(partial(run_send, run, learn_all))
    return run


def learning_follow() -> None:
    """After the caller's commit, have the models follow what has changed. One learning that waits does for all."""
    # What was written stands, whatever becomes of this: at night everything is learned anyway.
    transaction.on_commit(_queue_changed, robust=True)


def car_facts_learned(car: Car, changed: Collection[str]) -> None:
    """A car's production month, climate or known history was put right: what was learned with it is learned anew."""
    if not FACTS & set(changed):
        return
    groups = Sighting.objects.filter(car=car).order_by().values_list("system", "part").distinct()
    if groups:
        models_stale(sorted(groups))
        learning_follow()


def _queue_changed() -> None:
    from diagnostics.tasks import learn_changed  # the task calls this module

    with transaction.atomic():
        learn_alone()
        for run in TaskRun.objects.filter(kind__in=[WHOLE, CHANGED], state=RunState.QUEUED):
            if run_is_alive(run, lost_after=LOST_AFTER, words=_lost_words()):
                return
        run = run_queue(kind=CHANGED, title=_("Learning from the latest checks"), by=None, result_url=_shown_at())
    run_send(run, learn_changed)


def _shown_at() -> str:
    return reverse("diagnostics:ranges")


def _lost_words() -> str:
    return _("The worker stopped before it was done.")


def learning_run(*, run: TaskRun | None = None, whole: bool = True, tell: Tell | None = None) -> Learning | None:
    """Read the sheets that were not read yet, learn what changed (`whole`: everything) and keep it, all or nothing.

    None where nothing has changed. `tell` hears how far it is, and so does `run`. Raises Cancelled where the run was
    called off, Conflict where other learnings were kept all the while.
    """
    tell = tell or (partial(_tell_run, run) if run is not None else lambda _done, _total, _words: None)
    groups: frozenset[Group] = frozenset()
    for _attempt in range(ATTEMPTS):
        newest = newest_learning()
        sheets_read(tell)
        marked = FailureModel.objects.filter(fingerprint__startswith=STALE)
        marks = frozenset(marked.values_list("fingerprint", flat=True))
        # What an overtaken attempt had to learn is learned again: whoever overtook it may have known less.
        groups |= stale_groups()
        basis = Basis(newest.pk if newest else None, marks, whole)
        computed = compute(None if whole else groups, tell)
        try:
            return learned_keep(
                computed=computed,
                basis=basis,
                run=run,
                by=run.by if run is not None else None,
                result_url=_shown_at(),
            )
        except Overtaken:
            continue
    raise Conflict(_("Others were learning all the while. Ask again later."))


def compute(groups: frozenset[Group] | None, tell: Tell) -> "Computed":
    from diagnostics.selectors.computed import compute_all, compute_changed  # the mathematics: only who learns needs it

    return compute_all(tell) if groups is None else compute_changed(groups, tell)


def _tell_run(run: TaskRun, done: int, total: int, words: str) -> None:
    run_progress(run, done=done, total=total, words=words)


def sheets_read(tell: Tell = lambda _done, _total, _words: None) -> None:
    """What sheets say of units, made anew where checks or work have changed; the marks on the models that follow from
    it are set in the same transaction, so that a learning that is broken off loses nothing."""
    left = _unread()
    while left:
        tell(0, 1, _("Reading bench sheets: {left} left").format(left=left))
        with transaction.atomic():
            models_stale(sorted(sightings_refresh(limit=SHEETS_AT_ONCE)))
        before, left = left, _unread()
        if left >= before:  # people write on the bench faster than this reads, or nothing is left that can be read
            return


def _unread() -> int:
    return BenchSheet.objects.filter(sighted=False).count()
