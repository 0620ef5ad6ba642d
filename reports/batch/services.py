"""The writes of a batch: asked for once, then worked through, each job in transactions of its own."""

import logging
import uuid
from collections.abc import Sequence
from functools import partial

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from reports.models import BatchItem, Certificate, CertificateBatch, CertificateState, ItemState
from reports.services import certificate_freeze
from shop.errors import ShopError
from shop.models import Job, TaskRun, User
from shop.permissions import require
from shop.runs import run_progress, run_queue, run_send
from shop.services import trail_record

log = logging.getLogger(__name__)

JOBS_AT_MOST = 60
WORDS_AT_MOST = 400


@transaction.atomic
def batch_ask(*, jobs: Sequence[int], key: uuid.UUID, by: User) -> CertificateBatch:
    """Queue the certificates of `jobs` (keys, in this order); with a `key` that was used already, the batch that it
    made. ShopError without a job, with too many, or with one that is not there."""
    require(by, "certificate.issue")
    wanted = list(dict.fromkeys(jobs))
    if not wanted:
        raise ShopError(_("No job is ticked: tick at least one."))
    if len(wanted) > JOBS_AT_MOST:
        raise ShopError(
            _("{count} jobs are ticked; at most {most} go into one batch.").format(count=len(wanted), most=JOBS_AT_MOST)
        )
    if Job.objects.filter(pk__in=wanted).count() != len(wanted):
        raise ShopError(_("A job that was ticked is not there. Load the page again."))
    batch, made = CertificateBatch.objects.get_or_create(key=key, defaults={"by": by, "at": timezone.now()})
    if not made:
        return batch
    words = ngettext("{count} certificate at once", "{count} certificates at once", len(wanted))
    title, link = words.format(count=len(wanted)), batch.get_absolute_url()
    batch.run = run_queue(kind="certificates", title=title, by=by, total=len(wanted), result_url=link)
    batch.save(update_fields=["run"])
    BatchItem.objects.bulk_create(BatchItem(batch=batch, number=at, job_id=pk) for at, pk in enumerate(wanted, 1))
    trail_record(by=by, kind="certificates.asked", words=_("Asked for: {what}.").format(what=title), link=link)
    from reports.tasks import certificate_batch_task  # the task calls this module

    transaction.on_commit(partial(run_send, batch.run, certificate_batch_task, batch.pk))
    return batch


def batch_run(*, batch: CertificateBatch, run: TaskRun) -> str:
    """Work through what is left of the batch; what became of it, in a sentence. Raises Cancelled between two jobs:
    what is issued by then stands."""
    items = list(batch.items.select_related("job").order_by("number"))
    for done, item in enumerate(items):
        run_progress(run, done=done, total=len(items), words=str(item.job))
        if item.state == ItemState.WAITING:
            _issue(item, batch.by)
    states = [item.state for item in items]
    return _("Issued: {issued}. Unchanged: {unchanged}. Not issued: {failed}.").format(
        issued=states.count(ItemState.ISSUED),
        unchanged=states.count(ItemState.UNCHANGED),
        failed=states.count(ItemState.FAILED),
    )


def _issue(item: BatchItem, by: User) -> None:
    """One job: what goes wrong with it is written down in its own sentence, and the next one is not held up."""
    try:
        item.certificate, item.state, item.words = _issued(item.job, by)
    except ShopError as error:
        item.certificate, item.state, item.words = None, ItemState.FAILED, error.words[:WORDS_AT_MOST]
    except Exception:
        log.exception("certificate of %s could not be issued in batch %s", item.job.number, item.batch_id)
        words = _("The certificate could not be made. Ask for it again; if it fails again, tell the owner.")
        item.certificate, item.state, item.words = None, ItemState.FAILED, words
    # Of a message that was delivered twice the first outcome stays: to the second, nothing has changed.
    waiting = BatchItem.objects.filter(pk=item.pk, state=ItemState.WAITING)
    if not waiting.update(certificate=item.certificate, state=item.state, words=item.words):
        item.refresh_from_db()


def _issued(job: Job, by: User) -> tuple[Certificate | None, ItemState, str]:
    """As if it were asked for on the job's page: its content frozen, then issued here and now in a run of its own."""
    from reports.tasks import certificate_issue_task  # which calls the services

    certificate, run = certificate_freeze(job=job, by=by)
    if certificate.state == CertificateState.ISSUED or run is None:
        return certificate, ItemState.UNCHANGED, ""
    certificate_issue_task(str(run.pk), certificate.pk)
    certificate.refresh_from_db()
    if certificate.state == CertificateState.ISSUING:
        run.refresh_from_db()
        return None, ItemState.FAILED, run.words or _("The certificate was not issued. Ask for it again.")
    return certificate, ItemState.ISSUED, ""
