"""The reads of certificates, with what their pages show."""

import json
from dataclasses import dataclass

from django.conf import settings
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from reports.document.content import Certificate as Content
from reports.document.content import Shown, from_json
from reports.document.languages import ENGLISH, languages
from reports.models import Certificate, CertificateState
from shop.merging import Chosen, Found
from shop.models import Car, Job, Picture, RunState
from shop.selectors import typed

FOUND_AT_MOST = 50


def certificates_found(words: str) -> list[Certificate]:
    """The newest certificates whose number, VIN or owner has `words` in it; all where `words` is empty."""
    rows, words = _rows(), typed(words)
    if words:
        rows = rows.filter(
            Q(number__icontains=words) | Q(car__vin__icontains=words) | Q(car__owner__name__icontains=words)
        )
    return list(rows[:FOUND_AT_MOST])


def certificates_of_job(job: Job) -> list[Certificate]:
    return list(_rows().filter(job=job))


def certificates_of_car(car: Car) -> list[Certificate]:
    return list(_rows().filter(car=car))


def certificates_to_move(_kept: Car, double: Car, _chosen: Chosen) -> Found:
    """Of a car that was written down twice; each keeps the VIN that it was issued with."""
    return Found(moving=((_("Certificates"), Certificate.objects.filter(car=double).count()),))


def _rows() -> QuerySet[Certificate]:
    """As the tables need them: without the content, which is long."""
    return Certificate.objects.select_related("car__owner", "job", "run").defer("content")


def content_of(certificate: Certificate) -> Content:
    """What stands on the paper."""
    return from_json(json.dumps(certificate.content))


def pictures_on(certificate: Certificate, content: Content) -> list[tuple[int, Shown, Picture]]:
    """The pictures on the paper by their number there, each with the one that the shop keeps."""
    if not content.pictures:
        return []
    kept = {row.digest: row for row in Picture.objects.filter(job=certificate.job_id).exclude(digest="")}
    numbered = enumerate(content.pictures, 1)
    return [(number, one, kept[one.digest]) for number, one in numbered if one.digest in kept]


def language_name(code: str) -> str:
    """The name of a certificate's language as the screens say it; of a language without one, its own name."""
    return {"en": _("English"), "de": _("German")}.get(code) or languages().get(code, code)


def languages_offered(job: Job) -> list[tuple[str, str, bool]]:
    """Code, name and whether it is the one that is taken unless another one is chosen."""
    issued = job.certificates.exclude(state=CertificateState.ISSUING).values_list("content__language", flat=True)[:1]
    taken = next((code or ENGLISH for code in issued), settings.CERTIFICATE_LANGUAGE)
    return [(code, language_name(code), code == taken) for code in languages()]


@dataclass(frozen=True, slots=True)
class JobPanel:
    """`running`: somebody waits for one now; `failed`: the last attempt did not get through."""

    certificates: list[Certificate]
    running: Certificate | None
    failed: Certificate | None


def job_panel(job: Job) -> JobPanel:
    rows = certificates_of_job(job)
    waiting = next((row for row in rows if row.state == CertificateState.ISSUING), None)
    run = waiting.run if waiting else None
    alive = run is not None and run.state in (RunState.QUEUED.value, RunState.RUNNING.value)
    return JobPanel(
        certificates=[row for row in rows if row.state != CertificateState.ISSUING],
        running=waiting if alive else None,
        failed=waiting if not alive else None,
    )
