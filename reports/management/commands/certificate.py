"""Issues the certificate of a job at once, without a worker: `manage.py certificate JOB --out FILE.pdf`."""

import re
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from reports.models import Certificate, CertificateState
from reports.services import certificate_freeze
from reports.tasks import certificate_issue_task
from shop.errors import ShopError
from shop.models import Job, Role, User


class Command(BaseCommand):
    help = _("Issue the certificate of a job (or find the one that stands) and write its PDF to a file.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("job", metavar="JOB", help=_("The job: its number, such as J00012, or 12."))
        parser.add_argument(
            "--language",
            default="",
            metavar="CODE",
            help=_("Its language, such as en or de; without it that of the last one, else the shop’s choice."),
        )
        parser.add_argument("--out", required=True, metavar="FILE.pdf", help=_("Where the PDF goes."))

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            certificate = _issued(_job(options["job"]), options["language"])
            with certificate.file.open("rb") as file:
                Path(options["out"]).write_bytes(file.read())
        except ShopError as error:
            raise CommandError(error.words, returncode=2) from error
        except OSError as error:
            words = _("{file} cannot be written: {why}.").format(file=options["out"], why=error.strerror)
            raise CommandError(words, returncode=2) from error
        self.stdout.write(f"{certificate.number} {certificate.sha256} {options['out']}")


def _job(words: str) -> Job:
    match = re.fullmatch(r"J?0*(\d{1,9})", words, re.ASCII)
    job = Job.objects.filter(pk=int(match[1])).first() if match else None
    if job is None:
        raise ShopError(_("There is no job {job}; expected a number such as J00012.").format(job=words))
    return job


def _issued(job: Job, language: str) -> Certificate:
    """The certificate, approved by the shop's owner: whoever can run this command has the whole shop in hand."""
    owner = User.objects.filter(role=Role.OWNER, is_active=True).order_by("pk").first()
    if owner is None:
        raise ShopError(_("There is no owner of the shop who could approve a certificate."))
    certificate, run = certificate_freeze(job=job, by=owner, language=language)
    if certificate.state == CertificateState.ISSUING and run is not None:
        certificate_issue_task(str(run.pk), certificate.pk)
        certificate.refresh_from_db()
    if certificate.state == CertificateState.ISSUING:
        raise ShopError(_("The certificate could not be made; the log says why."))
    return certificate
