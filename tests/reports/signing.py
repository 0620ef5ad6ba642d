"""An issued certificate, signed, for tests of the check."""

from pathlib import Path

from reports import services
from reports.models import Certificate
from shop.models import Job, User


def issued(job: Job, by: User) -> Certificate:
    certificate, _run = services.certificate_freeze(job=job, by=by)
    return services.certificate_issue(certificate=certificate, progress=lambda _words: None)


def file_of(certificate: Certificate) -> bytes:
    return Path(certificate.file.path).read_bytes()
