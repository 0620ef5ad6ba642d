"""Judging a signed file by its bytes alone: is it whole, unchanged, and signed by us?

Run as a program (`python -m reports.signing.judge`) it reads a file that a stranger brought, in a process of its own
with little memory and time: a small PDF can unfold into a huge one, and none may hold up the shop's pages.
"""

import json
import logging
import sys
from collections.abc import Sequence
from dataclasses import asdict
from io import BytesIO

from asn1crypto import pem
from asn1crypto import x509 as asn1_x509
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import async_validate_pdf_signature
from pyhanko.sign.validation.status import PdfSignatureStatus, SignatureCoverageLevel
from pyhanko_certvalidator import ValidationContext

from reports.signing.judged import MEMORY, NUMBER, SECONDS, Judged
from reports.signing.sign import apart


def judge(pdf: bytes, roots: Sequence[str]) -> Judged:
    """`roots`: PEM of the root certificates that count; they must have been good at the time that the signature names
    (B-B proves no time: whether to believe it, the caller knows). Nothing in the bytes makes it fail."""
    try:
        return _judge(pdf, roots)
    except Exception:  # the readers raise whatever a broken file makes them stumble over
        return Judged("damaged")


def _judge(pdf: bytes, roots: Sequence[str]) -> Judged:
    reader = PdfFileReader(BytesIO(pdf))
    numbers = _numbers(reader)
    found = reader.embedded_signatures
    if len(found) != 1:
        return Judged("unsigned" if not found else "signed-twice", len(found), numbers=numbers)
    trust = [asn1_x509.Certificate.load(pem.unarmor(root.encode())[2]) for root in roots]
    at = found[0].self_reported_timestamp
    context = ValidationContext(trust_roots=trust, moment=at, allow_fetching=False, revocation_mode="soft-fail")
    status = apart(async_validate_pdf_signature(found[0], signer_validation_context=context))
    whole = status.coverage == SignatureCoverageLevel.ENTIRE_FILE
    intact, trusted = bool(status.intact and status.valid), bool(status.trusted)
    if not intact:
        wrong = "changed"
    elif not whole:
        wrong = "added"
    elif not trusted:
        wrong = "stranger"
    else:
        wrong = "" if _holds(status) else "changed"
    return Judged(
        wrong,
        1,
        intact,
        trusted,
        whole,
        at.isoformat() if at else "",
        status.signing_cert.subject.human_friendly,
        numbers,
    )


def _holds(status: PdfSignatureStatus) -> bool:
    """Whether the validator has nothing against it. A time-stamp must be unbroken; whom to believe the time is for the
    reader to say, since the shop's own root says nothing of the service's."""
    stamp = status.timestamp_validity
    if stamp is None:
        return bool(status.bottom_line)
    sound = status.intact and status.valid and status.trusted and status.docmdp_ok
    return bool(sound and stamp.intact and stamp.valid)


def _numbers(reader: PdfFileReader) -> tuple[str, ...]:
    try:
        title = str(reader.trailer["/Info"]["/Title"])
    except Exception:  # no such entry, or nothing that can be read
        return ()
    return tuple(NUMBER.findall(title))


def main() -> None:
    """Standard input: one line of JSON, the roots; then the file. Output: Judged as JSON."""
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    logging.disable()
    roots = json.loads(sys.stdin.buffer.readline())
    judged = judge(sys.stdin.buffer.read(), roots)
    sys.stdout.write(json.dumps(asdict(judged)))


if __name__ == "__main__":
    main()
