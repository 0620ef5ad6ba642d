"""Checks the file of a certificate against this shop's records: `manage.py check_certificate FILE.pdf --json`."""

import json
import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils.translation import gettext as _

from reports.checking import FILE_BYTES, Checked, check_upload
from shop.errors import ShopError


class Command(BaseCommand):
    help = _("Say whether a file is a certificate of this shop, unchanged, and whether it stands.")

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", metavar="FILE.pdf", help=_("The file, or - for standard input."))
        parser.add_argument("--json", action="store_true", help=_("Write the answer as JSON."))

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            checked = _checked(options["file"])
        except ShopError as error:
            raise CommandError(error.words, returncode=2) from error
        except OSError as error:
            words = _("{file} cannot be read: {why}.").format(file=options["file"], why=error.strerror)
            raise CommandError(words, returncode=2) from error
        if options["json"]:
            self.stdout.write(json.dumps(as_json(checked), ensure_ascii=False, indent=2))
        else:
            self.stdout.write(f"{checked.state}: {checked.words}")


def _checked(name: str) -> Checked:
    if name == "-":
        from io import BytesIO

        said = sys.stdin.buffer.read(FILE_BYTES + 1)
        return check_upload(BytesIO(said), len(said))
    path = Path(name)
    with path.open("rb") as file:
        return check_upload(file, path.stat().st_size)


def as_json(checked: Checked) -> dict[str, Any]:
    """Whoever can run this has the whole shop in hand, so the embedded data go along."""
    certificate, judged = checked.certificate, checked.judged
    signature = None
    if judged is not None:
        signature = {
            "signatures": judged.signatures,
            "intact": judged.intact,
            "trusted": judged.trusted,
            "whole_file": judged.whole,
            "signed_at": judged.signed_at or None,
            "signer": judged.signer or None,
        }
    answer: dict[str, Any] = {"state": str(checked.state), "words": checked.words, "signature": signature}
    if certificate is None:
        return {**answer, "number": None, "certificate": None, "data": None}
    return {
        **answer,
        "number": certificate.number,
        "certificate": {
            "issued_at": _moment(certificate.issued_at),
            "withdrawn_at": _moment(certificate.withdrawn_at),
            "withdrawn_reason": certificate.withdrawn_reason or None,
            "replaced_by": checked.next_number or None,
            "replaces": certificate.replaces.number if certificate.replaces else None,
            "vin_end": checked.vin_end,
            "sha256": certificate.sha256,
            "data_sha256": certificate.data_sha256 or None,
            "root_sha256": certificate.root.fingerprint if certificate.root else None,
        },
        "data": certificate.content,
    }


def _moment(when: Any) -> str | None:
    return when.isoformat() if when else None
