"""The writes: a certificate is asked for (its content frozen), then issued (drawn, signed, kept byte for byte), and
perhaps withdrawn."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial

from django.conf import settings
from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from reports.commission.services import commission_done
from reports.document.content import fingerprint, from_json, to_json
from reports.document.languages import ENGLISH
from reports.document.numbers import number_new
from reports.gather import certificate_content, picture_files
from reports.models import Certificate, CertificateState, SigningRoot
from reports.sealing import Sealed, paper, seal
from shop.errors import Conflict
from shop.lines import reason_of
from shop.merging import Chosen
from shop.models import Car, Job, TaskRun, User
from shop.permissions import require
from shop.runs import run_is_alive, run_queue, run_send
from shop.services import trail_record

PARTS = 4
"""Parts of issuing that a waiting person sees: read, draw, sign, keep."""
LOST_AFTER = timedelta(minutes=10)
"""A run that has been running for longer is lost with its worker (the longest certificate takes seconds); one that has
been waiting for longer may have lost its message. Should the message come after all, it finds the run written off."""


@transaction.atomic
def certificate_ask(*, job: Job, by: User, language: str = "") -> tuple[Certificate, TaskRun | None]:
    """Freeze the content and queue the issuing. With nothing changed this gives the certificate that stands.

    `language`: its code; '' for that of the last one asked for, else the shop's choice. ShopError where nothing
    was inspected or the language is unknown; Conflict while another content of the job is just being issued.
    """
    certificate, run = certificate_freeze(job=job, by=by, language=language)
    if run is not None and certificate.state == CertificateState.ISSUING:
        from reports.tasks import certificate_issue_task  # the task calls this module

        transaction.on_commit(partial(run_send, run, certificate_issue_task, certificate.pk))
    return certificate, run


@transaction.atomic
def certificate_freeze(*, job: Job, by: User, language: str = "") -> tuple[Certificate, TaskRun | None]:
    """The certificate of the job as it is now, with its frozen content, and the run that issues or has issued it."""
    require(by, "certificate.issue")
    job = Job.objects.select_for_update(of=("self",)).select_related("car__owner").get(pk=job.pk)
    # The latest that was issued: what follows a withdrawn one replaces it as well.
    rows = job.certificates.filter(state__in=[CertificateState.ISSUED, CertificateState.WITHDRAWN])
    current = rows.select_related("run", "replaces").first()
    waiting = job.certificates.filter(state=CertificateState.ISSUING).select_related("run").first()
    now = timezone.now()
    replaces = current.number if current else ""
    language = language or _language(waiting or current)
    content = certificate_content(job=job, number="", by=by, issued_at=now, replaces=replaces, language=language)
    if waiting is None and current is not None and current.state == CertificateState.ISSUED:
        before = current.replaces.number if current.replaces else ""
        if current.fingerprint == fingerprint(content, before):
            return current, current.run
    made_from = fingerprint(content, replaces)
    lost = _("The worker stopped before the certificate was ready.")
    if waiting and waiting.run and run_is_alive(waiting.run, lost_after=LOST_AFTER, words=lost):
        if waiting.fingerprint == made_from:
            return waiting, waiting.run
        raise Conflict(_("A certificate of this job is just being issued. Wait until it is there, then ask again."))
    number = waiting.number if waiting else number_new(timezone.localdate(now).year)
    certificate = waiting or Certificate(number=number, job=job, car=job.car)
    certificate.fingerprint = made_from
    certificate.content = json.loads(to_json(replace(content, number=number)))
    certificate.asked_by, certificate.asked_at, certificate.replaces = by, now, current
    title = _("Certificate {number}").format(number=number)
    certificate.run = run_queue(kind="certificate", title=title, by=by, job=job, total=PARTS)
    certificate.save()
    words = _("Certificate {number} asked for.").format(number=number)
    trail_record(by=by, job=job, kind="certificate.asked", words=words, link=certificate.get_absolute_url())
    return certificate, certificate.run


def _language(last: Certificate | None) -> str:
    """That of the last one asked for, so that asking again replaces nothing; of a first one the shop's choice."""
    return str(last.content.get("language", ENGLISH) if last else settings.CERTIFICATE_LANGUAGE)


def certificate_issue(*, certificate: Certificate, progress: Callable[[str], None]) -> Certificate:
    """Draw the frozen content, sign it and keep the file; twice keeps the first file. `progress` is told what comes
    next. ShopError where it cannot be signed; nothing is kept then."""
    content = from_json(json.dumps(certificate.content))
    progress(_("Drawing the pages"))
    drawn = paper(content, picture_files(certificate.job, content))
    progress(_("Signing the file"))
    sealed = seal(content, drawn)
    progress(_("Keeping the file"))
    return _keep(certificate_id=certificate.pk, sealed=sealed, issued_at=content.issued_at)


@transaction.atomic
def _keep(*, certificate_id: int, sealed: Sealed, issued_at: datetime) -> Certificate:
    certificate = Certificate.objects.select_for_update(of=("self",)).select_related("job__car").get(pk=certificate_id)
    if certificate.state != CertificateState.ISSUING:
        return certificate  # a second delivery of the message; the file that was issued stays
    name = certificate.file.field.generate_filename(certificate, f"{certificate.number}.pdf")
    certificate.file.storage.delete(name)  # left there by an attempt that was not committed
    certificate.file.save(f"{certificate.number}.pdf", ContentFile(sealed.pdf), save=False)
    certificate.sha256 = sealed.sha256
    certificate.unsigned_sha256, certificate.data_sha256 = sealed.unsigned_sha256, sealed.data_sha256
    certificate.root = _root(sealed)
    certificate.pages = sealed.pages
    certificate.state = CertificateState.ISSUED
    certificate.issued_at = issued_at
    certificate.save()
    link = certificate.get_absolute_url()
    words = _("Certificate {number} issued.").format(number=certificate.number)
    trail_record(by=certificate.asked_by, job=certificate.job, kind="certificate.issued", words=words, link=link)
    if certificate.replaces_id is not None:
        _replace(certificate)
    commission_done(certificate.job)
    return certificate


def _root(sealed: Sealed) -> SigningRoot:
    known = {"pem": sealed.root_pem, "first_used_at": timezone.now()}
    return SigningRoot.objects.get_or_create(fingerprint=sealed.root_fingerprint, defaults=known)[0]


@transaction.atomic
def certificate_withdraw(*, certificate: Certificate, reason: str, by: User) -> Certificate:
    """From now on the public check says that it no longer counts. ShopError without a reason; Conflict where it does
    not stand any more."""
    require(by, "certificate.withdraw")
    reason = reason_of(reason, _("Say why the certificate is withdrawn; the reason stays in the shop."))
    rows = Certificate.objects.select_for_update(of=("self",)).select_related("job__car")
    certificate = rows.get(pk=certificate.pk)
    if certificate.state != CertificateState.ISSUED:
        words = _("Certificate {number} does not stand any more, or not yet: {state}.")
        raise Conflict(words.format(number=certificate.number, state=certificate.get_state_display()))
    certificate.state = CertificateState.WITHDRAWN
    certificate.withdrawn_at, certificate.withdrawn_by, certificate.withdrawn_reason = timezone.now(), by, reason
    certificate.save(update_fields=["state", "withdrawn_at", "withdrawn_by", "withdrawn_reason"])
    words = _("Certificate {number} withdrawn: {reason}").format(number=certificate.number, reason=reason)
    link = certificate.get_absolute_url()
    trail_record(by=by, job=certificate.job, kind="certificate.withdrawn", words=words, link=link)
    return certificate


def _replace(certificate: Certificate) -> None:
    """The certificate that this one names is no longer valid."""
    earlier = certificate.replaces
    assert earlier is not None  # noqa: S101 - asked by the caller
    Certificate.objects.filter(pk=earlier.pk, state=CertificateState.ISSUED).update(state=CertificateState.REPLACED)
    words = _("Certificate {earlier} replaced by {number}.").format(earlier=earlier.number, number=certificate.number)
    trail_record(
        by=certificate.asked_by,
        job=certificate.job,
        kind="certificate.replaced",
        words=words,
        link=earlier.get_absolute_url(),
    )


def certificates_moved(kept: Car, double: Car, _chosen: Chosen) -> None:
    """The reports' part of putting a car together that was written down twice."""
    Certificate.objects.filter(car=double).update(car=kept)
