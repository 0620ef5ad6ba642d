"""Background work of certificates."""

import logging

from celery import shared_task
from django.utils.translation import gettext as _

from reports.models import Certificate, CertificateState
from reports.services import certificate_issue
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
        except Exception:
            log.exception("certificate %s could not be issued", certificate.number)
            run_fail(run, _("The certificate could not be made. Ask for it again; if it fails again, tell the owner."))
            return
    run_finish(run, result_url=certificate.get_absolute_url())
