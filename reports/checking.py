"""Checking a certificate, by its number or by the file that somebody holds: valid, altered, withdrawn, replaced or
unknown. Valid is only what equals the issued file byte for byte and carries the shop's signature over the whole of it.
"""

import json
import re
import subprocess
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from hashlib import sha256
from typing import IO

from django.conf import settings
from django.db.models import QuerySet
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from reports.document.languages import ENGLISH
from reports.document.numbers import number_holds
from reports.models import Certificate, CertificateState, SigningRoot
from reports.signing.judged import NUMBER, SECONDS, Judged
from shop.errors import ShopError

FILE_BYTES = 20 * 1024 * 1024
VIN_END = 6


class State(StrEnum):
    VALID = "valid"
    ALTERED = "altered"
    WITHDRAWN = "withdrawn"
    REPLACED = "replaced"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Checked:
    """`words`: the state in one or two sentences. `judged`: what the file's signature says, where a file was brought;
    `certificate` as it was issued, where there is one."""

    state: State
    words: str
    certificate: Certificate | None = None
    judged: Judged | None = None

    @property
    def next_number(self) -> str:
        """The number of the certificate that replaces this one, or ''."""
        later = getattr(self.certificate, "replaced_by", None)
        return later.number if later is not None and later.state != CertificateState.ISSUING else ""

    @property
    def language(self) -> str:
        """Code of the language that the certificate is in."""
        return str(self.certificate.content.get("language", ENGLISH)) if self.certificate else ENGLISH

    @property
    def vin_end(self) -> str:
        return str(self.certificate.content["item"]["vin"])[-VIN_END:] if self.certificate else ""


WRONG: Mapping[str, str | Promise] = {
    "": gettext_lazy("bytes were changed that stand outside of what is signed."),
    "damaged": gettext_lazy("it is damaged, and no reader can make sense of its signature."),
    "unsigned": gettext_lazy("it carries no signature; it was saved anew or printed from the original."),
    "signed-twice": gettext_lazy("it carries more than one signature, and the shop signs once."),
    "changed": gettext_lazy("its contents are not those that were signed."),
    "added": gettext_lazy("something was added to it after it was signed."),
    "stranger": gettext_lazy("it is signed, but not by this shop."),
}


def check_number(typed: str) -> Checked:
    """What stands of a number, however it is typed: small letters, spaces, no dashes."""
    number = number_typed(typed)
    if not number_holds(number):
        words = _("This is no number of a certificate: a character is missing or mistyped. It looks like {example}.")
        return Checked(State.UNKNOWN, words.format(example="TW-2026-7K3M9QXZ-S"))
    certificate = _issued([number])
    if certificate is None:
        words = _("This shop has issued no certificate with the number {number}.")
        return Checked(State.UNKNOWN, words.format(number=number))
    return _standing(certificate, None)


def number_typed(typed: str) -> str:
    """A number as it is printed, from what a person typed; '' where that cannot be one."""
    bare = re.sub(r"[\s\-–—.]", "", typed).upper()
    if not re.fullmatch(r"TW[0-9A-Z]{13}", bare):
        return ""
    return f"{bare[:2]}-{bare[2:6]}-{bare[6:14]}-{bare[14]}"


def check_upload(file: IO[bytes], size: int) -> Checked:
    """ShopError where the file is too large (then nothing of it is read) or no PDF."""
    if size > FILE_BYTES:
        words = _("The file is too large for a certificate; expected at most {limit} MB.")
        raise ShopError(words.format(limit=FILE_BYTES // (1024 * 1024)))
    return check_file(file.read(FILE_BYTES))


def check_file(pdf: bytes) -> Checked:
    """ShopError where it is no PDF and no copy of ours."""
    certificate = _rows().filter(sha256=sha256(pdf).hexdigest()).first()
    if certificate is not None:
        from reports.signing.judge import judge  # half a second to load, for nobody but who needs it

        roots = [certificate.root.pem] if certificate.root else []
        judged = judge(pdf, roots)  # ours byte for byte: nothing in it is a stranger's
        return _altered(certificate, judged) if judged.wrong else _standing(certificate, judged)
    judged = judge_apart(pdf, list(SigningRoot.objects.values_list("pem", flat=True)))
    raw = [found.decode("ascii") for found in re.findall(NUMBER.pattern.encode(), pdf)]
    certificate = _issued([*judged.numbers, *raw])
    if certificate is not None:
        return _altered(certificate, judged)
    if b"%PDF-" not in pdf[:1024]:
        raise ShopError(_("This file is no PDF; send the certificate as you received it."))
    words = _(
        "This file carries no number of a certificate that this shop has issued. A paper can be checked by the "
        "number on it."
    )
    return Checked(State.UNKNOWN, words, None, judged)


def _rows() -> QuerySet[Certificate]:
    rows = Certificate.objects.exclude(state=CertificateState.ISSUING)
    return rows.select_related("root", "replaces", "replaced_by")


def _issued(numbers: Iterable[str]) -> Certificate | None:
    """The first of `numbers` that was issued."""
    for number in dict.fromkeys(numbers):
        if number_holds(number) and (found := _rows().filter(number=number).first()):
            return found
    return None


def _standing(certificate: Certificate, judged: Judged | None) -> Checked:
    if certificate.state == CertificateState.WITHDRAWN:
        words = _("The shop has withdrawn this certificate. It no longer counts.")
        return Checked(State.WITHDRAWN, words, certificate, judged)
    if certificate.state == CertificateState.REPLACED:
        words = _("A later certificate has replaced this one. It no longer counts.")
        return Checked(State.REPLACED, words, certificate, judged)
    if judged is None:
        words = _("This certificate was issued and stands. To see whether a file is unchanged, send the file as well.")
    else:
        words = _("This file is the certificate as it was issued, signed by the shop and unchanged, and it stands.")
    return Checked(State.VALID, words, certificate, judged)


def _altered(certificate: Certificate, judged: Judged) -> Checked:
    words = _("This file carries the number {number}, but it is not the file that was issued: {wrong}")
    told = words.format(number=certificate.number, wrong=WRONG[judged.wrong])
    return Checked(State.ALTERED, told, certificate, judged)


def judge_apart(pdf: bytes, roots: list[str]) -> Judged:
    """As `judge`, in a process of its own with little memory and time: `pdf` is a stranger's."""
    asked = json.dumps(roots).encode() + b"\n"
    try:
        done = subprocess.run(
            [sys.executable, "-m", "reports.signing.judge"],
            input=asked + pdf,
            capture_output=True,
            timeout=2 * SECONDS,
            check=True,
            cwd=settings.BASE_DIR,
            env={"LANG": "C.UTF-8"},  # none of our secrets
        )
        told = json.loads(done.stdout)
        return Judged(**{**told, "numbers": tuple(told["numbers"])})
    except (subprocess.SubprocessError, ValueError, TypeError):
        return Judged("damaged")
