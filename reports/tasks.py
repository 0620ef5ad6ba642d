"""Background work of certificates and of old records."""

import logging

from celery import shared_task
from django.urls import reverse
from django.utils.translation import gettext as _

from reports.batch.services import batch_run
from reports.bring import files_tidy, import_run
from reports.models import Certificate, CertificateBatch, CertificateState, ImportedFile
from reports.services import certificate_issue
from reports.suspect_hits import hits_ask, hits_run
from reports.take import export_run, exports_tidy
from shop.errors import ShopError
from shop.models import RunState, TaskRun
from shop.runs import Cancelled, run_cancelled, run_claim, run_fail, run_finish, run_step

log = logging.getLogger(__name__)


@shared_task(name="reports.certificate_issue")  # type: ignore[untyped-decorator]
def certificate_issue_task(run_id: str, certificate_id: int) -> None:
    """Issue a certificate, once: a message delivered again finds it issued, or takes up what a lost worker left."""
    run = TaskRun.objects.filter(pk=run_id).first()
    certificate = Certificate.objects.filter(pk=certificate_id).first()
    if run is None or certificate is None:
        log.warning("certificate %s, run %s: no longer there", certificate_id, run_id)
        return
    if not run_claim(run) and run.state != RunState.RUNNING:
        return
    if certificate.state == CertificateState.ISSUING:
        try:
            certificate_issue(certificate=certificate, progress=lambda words: run_step(run, words))
        except Cancelled:
            run_cancelled(run)
            return
        except ShopError as error:
            log.warning("certificate %s could not be issued: %s", certificate.number, error.words)
            run_fail(run, error.words)
            return
        except Exception:
            log.exception("certificate %s could not be issued", certificate.number)
            run_fail(run, _("The certificate could not be made. Ask for it again; if it fails again, tell the owner."))
            return
    run_finish(run, result_url=certificate.get_absolute_url())


@shared_task(name="reports.certificate_batch")  # type: ignore[untyped-decorator]
def certificate_batch_task(run_id: str, batch_id: int) -> None:
    """Issue the certificates of a batch: a message delivered again takes up what a lost worker left, and issues none
    twice."""
    run = TaskRun.objects.filter(pk=run_id).first()
    batch = CertificateBatch.objects.select_related("by").filter(pk=batch_id).first()
    if run is None or batch is None:
        log.warning("batch %s, run %s: no longer there", batch_id, run_id)
        return
    if not run_claim(run) and run.state != RunState.RUNNING:
        return
    try:
        words = batch_run(batch=batch, run=run)
    except Cancelled:
        run_cancelled(run)
    except Exception:
        log.exception("batch %s could not be worked through", batch_id)
        run_fail(run, _("The batch stopped. What is issued stands; ask for the rest again."))
    else:
        run_finish(run, result_url=batch.get_absolute_url(), words=words)


@shared_task(name="reports.records_import")  # type: ignore[untyped-decorator]
def records_import_task(run_id: str, imported_id: int, dry_run: bool) -> None:
    """Look at a table of old records, or bring it, once: a message delivered again finds the run taken."""
    run = TaskRun.objects.select_related("by").filter(pk=run_id).first()
    row = ImportedFile.objects.select_related("by").filter(pk=imported_id).first()
    if run is None or row is None:
        log.warning("table of old records %s, run %s: no longer there", imported_id, run_id)
        return
    if not run_claim(run):
        return
    try:
        import_run(row=row, run=run, dry_run=dry_run)
    except Cancelled:
        run_cancelled(run)
    except ShopError as error:
        run_fail(run, error.words)
    except Exception:
        log.exception("table of old records %s could not be brought", row.pk)
        run_fail(run, _("The table could not be worked on. Try it again; if it fails again, tell the owner."))
    else:
        run_finish(run, result_url=row.get_absolute_url())


@shared_task(name="reports.records_tidy")  # type: ignore[untyped-decorator]
def records_tidy_task() -> None:
    """Every night: files of old records that nobody brought go, and so do exports that were not fetched."""
    files_tidy()
    exports_tidy()


@shared_task(name="reports.records_export")  # type: ignore[untyped-decorator]
def records_export_task(run_id: str) -> None:
    """Write out all records, once."""
    run = TaskRun.objects.filter(pk=run_id).first()
    if run is None or not run_claim(run):
        log.warning("export %s: no longer there, or taken", run_id)
        return
    try:
        export_run(run)
    except Cancelled:
        run_cancelled(run)
    except Exception:
        log.exception("export %s could not be written", run_id)
        run_fail(run, _("The records could not be written out; is there room on the disk? Ask for it again."))
    else:
        run_finish(run, result_url=reverse("reports:export-file", args=[run.pk]))


@shared_task(name="reports.suspect_hits")  # type: ignore[untyped-decorator]
def suspect_hits_task(run_id: str) -> None:
    """Count how often the first suspect was right, once."""
    run = TaskRun.objects.filter(pk=run_id).first()
    if run is None or not run_claim(run):
        log.warning("counting of suspects %s: no longer there, or taken", run_id)
        return
    try:
        hits_run(run)
    except Cancelled:
        run_cancelled(run)
    except Exception:
        log.exception("the suspects could not be counted")
        run_fail(run, _("The suspects could not be counted. Ask again; if it fails again, tell the owner."))
    else:
        run_finish(run, result_url=reverse("reports:figure", args=["suspects"]))


@shared_task(name="reports.suspect_hits_nightly")  # type: ignore[untyped-decorator]
def suspect_hits_nightly() -> None:
    hits_ask(by=None)
