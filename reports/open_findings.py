"""Findings of a car that are still open: those of its newest certificate, and those of bench sheets that it does not
speak of. Work at a position since, or the same check made again and good, closes what was found there."""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import Max

from diagnostics.models import Check, CheckKind, Work
from reports.document.draw.states import weight_words
from reports.models import Certificate, CertificateState
from reports.selectors import content_of
from shop.models import Car, Job


@dataclass(frozen=True, slots=True)
class OpenFinding:
    """`weight` in words and `certificate` of a certified one, else ''; `subject`: the position or motion by name."""

    at: dt.datetime
    subject: str
    words: str
    job: Job
    weight: str = ""
    certificate: str = ""


def findings_open(car: Car) -> list[OpenFinding]:
    """The certified ones first, the heaviest of them first, then the newest. Three queries."""
    certificate = (
        Certificate.objects.filter(car=car, state=CertificateState.ISSUED)
        .select_related("job")
        .order_by("-issued_at", "-pk")
        .first()
    )
    worked = dict(Work.objects.filter(job__car=car).values_list("position").annotate(Max("at")).order_by())
    checks = (
        Check.objects.filter(sheet__car=car, struck_at=None).exclude(verdict="refused").select_related("sheet__job")
    )
    newest = _newest(checks.order_by("at", "pk"))
    certified = [] if certificate is None else list(_certified(certificate, newest, worked))
    found = [
        OpenFinding(check.at, check.position or str(check.get_kind_display()), check.words, check.sheet.job)
        for check in newest
        if check.verdict == "finding" and not _since(worked, check.position, check.at) and not _said(certificate, check)
    ]
    return certified + sorted(found, key=lambda one: one.at, reverse=True)


def _certified(
    certificate: Certificate, newest: Iterable[Check], worked: dict[str, dt.datetime]
) -> Iterator[OpenFinding]:
    at = certificate.issued_at
    assert at is not None  # noqa: S101 - the database says so of every issued one
    ran = any(check.kind == CheckKind.MOTION and check.verdict == "ok" and check.at > at for check in newest)
    for one in content_of(certificate).results.open_findings():
        if _since(worked, one.position, at) or (not one.position and ran):
            continue
        yield OpenFinding(at, one.subject, one.words, certificate.job, weight_words(one.weight), certificate.number)


def _newest(checks: Iterable[Check]) -> list[Check]:
    """Of each check at each place in each situation the last; they come oldest first."""
    return list({_situation(check): check for check in checks}.values())


def _situation(check: Check) -> tuple[Any, ...]:
    said = check.observation
    return check.kind, check.position, repr(said.get("pose")), said.get("motion")


def _since(worked: dict[str, dt.datetime], position: str, at: dt.datetime) -> bool:
    return position in worked and worked[position] > at


def _said(certificate: Certificate | None, check: Check) -> bool:
    """Whether the certificate speaks of this check already."""
    return (
        certificate is not None
        and certificate.issued_at is not None
        and check.sheet.job_id == certificate.job_id
        and check.at <= certificate.issued_at
    )
