"""Background work of the bench: learning failure patterns, everything or what has changed."""

import logging

from celery import shared_task
from django.utils.translation import gettext as _

from diagnostics.services.learning import LOST_AFTER, learning_nightly, learning_run
from shop.errors import ShopError
from shop.models import TaskRun
from shop.runs import Cancelled, run_cancelled, run_claim, run_fail

log = logging.getLogger(__name__)


@shared_task(name="diagnostics.learn_all")  # type: ignore[untyped-decorator]
def learn_all(run_id: str) -> None:
    """Learn everything, once: a message delivered again finds the run taken, done or called off."""
    _learn(run_id, whole=True)


@shared_task(name="diagnostics.learn_changed")  # type: ignore[untyped-decorator]
def learn_changed(run_id: str) -> None:
    """Learn the parts whose sheets or decisions have changed, once."""
    _learn(run_id, whole=False)


@shared_task(name="diagnostics.learn_nightly")  # type: ignore[untyped-decorator]
def learn_nightly() -> None:
    """Queue the learning of everything by the clock; where one waits or runs, that one does."""
    learning_nightly()


def _learn(run_id: str, *, whole: bool) -> None:
    run = TaskRun.objects.filter(pk=run_id).select_related("by").first()
    if run is None:
        log.warning("run %s: no longer there", run_id)
        return
    if not run_claim(run, lost_after=LOST_AFTER):
        return
    try:
        learning_run(run=run, whole=whole)
    except Cancelled:
        run_cancelled(run)
    except ShopError as error:
        run_fail(run, error.words)
    except Exception:
        log.exception("run %s: could not learn", run_id)
        run_fail(run, _("The learning did not get through. Ask for it again; if it fails again, tell the owner."))
