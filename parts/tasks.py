"""Background work of the shelf: its plan, asked for or at night."""

import logging
from datetime import timedelta
from functools import partial

from celery import shared_task
from django.db import transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from parts.selectors.plan import RUN_KIND
from parts.services.plan import plan_run
from shop.errors import ShopError
from shop.models import RunState, TaskRun, User
from shop.permissions import require
from shop.runs import Cancelled, run_cancelled, run_claim, run_fail, run_finish, run_is_alive, run_queue, run_send

log = logging.getLogger(__name__)
LOST_AFTER = timedelta(hours=1)


@shared_task(name="parts.plan_make")  # type: ignore[untyped-decorator]
def plan_make(run_id: str) -> None:
    """Make the shelf plan of today, once: a message delivered again finds the run taken, done or called off."""
    run = TaskRun.objects.filter(pk=run_id).select_related("by").first()
    if run is None or not run_claim(run, lost_after=LOST_AFTER):
        return
    try:
        plan_run(as_of=timezone.localdate(), run=run)
    except Cancelled:
        run_cancelled(run)
    except ShopError as error:
        run_fail(run, error.words)
    except Exception:
        log.exception("run %s: could not plan the shelf", run_id)
        run_fail(run, _("The plan did not get through. Ask for it again; if it fails again, tell the owner."))
    else:
        run_finish(run, result_url=reverse("parts:plan"))


@shared_task(name="parts.plan_nightly")  # type: ignore[untyped-decorator]
def plan_nightly() -> None:
    """Queue the plan by the clock; where one waits or runs, that one does."""
    with transaction.atomic():
        _ask(None)


@transaction.atomic
def plan_ask(*, by: User) -> TaskRun:
    """Ask for a plan of today; one that waits or runs does for both."""
    require(by, "order.write")
    return _ask(by)


def _ask(by: User | None) -> TaskRun:
    for run in TaskRun.objects.filter(kind=RUN_KIND, state__in=[RunState.QUEUED, RunState.RUNNING]):
        if run_is_alive(run, lost_after=LOST_AFTER, words=_("The worker stopped before it was done.")):
            return run
    run = run_queue(kind=RUN_KIND, title=_("Shelf plan"), by=by, result_url=reverse("parts:plan"))
    transaction.on_commit(partial(run_send, run, plan_make))
    return run
