"""Signing a finished file: PAdES B-B (ETSI EN 319 142-1), with a time-stamp (B-T) where a service is named.

The signed file begins with the unsigned one, byte for byte. It is certified as final: a reader shows any later change.
"""

import asyncio
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from io import BytesIO
from typing import Any, TypeVar
from urllib.error import HTTPError, URLError
from urllib.request import Request, urlopen

from asn1crypto import keys as asn1_keys
from asn1crypto import tsp
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from django.utils.translation import gettext as _
from pyhanko.pdf_utils.extensions import DeveloperExtension
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import signers
from pyhanko.sign.fields import MDPPerm, SigSeedSubFilter
from pyhanko.sign.timestamps import TimeStamper, TimestampRequestError
from pyhanko_certvalidator.registry import SimpleCertificateStore

from reports.signing.keys import Keys
from shop.errors import ShopError

T = TypeVar("T")
FIELD = "Topwright"
STAMP_SECONDS, STAMP_BYTES = 10, 100_000
"""How long a time-stamp service may take, and how much it may say."""
AROUND_CERTIFICATES = 1500
"""Bytes of a signature beside its certificates: some 500 for P-256, 70 more for the longest key of its kind; the names
of the issuer, at most 64 characters each, stand in it once more."""


def signed(pdf: bytes, keys: Keys, *, reason: str, place: str, timestamps: str = "") -> bytes:
    """`pdf` with the shop's signature. `timestamps`: address of a service after RFC 3161, or ''. ShopError where that
    gives none."""
    meta = signers.PdfSignatureMetadata(
        field_name=FIELD,
        md_algorithm="sha256",
        subfilter=SigSeedSubFilter.PADES,
        reason=reason,
        location=place or None,
        certify=True,
        docmdp_permissions=MDPPerm.NO_CHANGES,
    )
    stamper = ServiceStamps(timestamps) if timestamps else None
    made = signers.PdfSigner(meta, signer=_signer(keys), timestamper=stamper)
    out = BytesIO()
    try:
        apart(made.async_sign_pdf(_Writer(BytesIO(pdf)), output=out, bytes_reserved=None if stamper else _room(keys)))
    except TimestampRequestError as error:
        words = _("The time-stamp service gave no time-stamp, so nothing was issued. Ask for it again later.")
        raise ShopError(words) from error
    return out.getvalue()


def _room(keys: Keys) -> int:
    """Hexadecimal digits for the signature. The library finds out by signing once for nothing, which takes a third of
    the time; how much a time-stamp needs only it knows."""
    certificates = sum(len(one.public_bytes(Encoding.DER)) for one in (keys.leaf, keys.root, *keys.others))
    return 2 * (certificates + AROUND_CERTIFICATES)


class _Writer(IncrementalPdfFileWriter):
    """Adds the signature and nothing else: the library would raise the file to PDF 2.0, which the archive's rules
    forbid, and change the metadata."""

    def ensure_output_version(self, version: tuple[int, int]) -> None:
        """The file is of PDF 1.7 and stays that."""

    def register_extension(self, ext: DeveloperExtension) -> None:
        """Only those that a file of PDF 1.7 can name."""
        if str(ext.base_version) == "/1.7":
            super().register_extension(ext)

    def _update_meta(self) -> None:
        """Title, times and producer stay as they are."""


def apart(work: Coroutine[Any, Any, T]) -> T:
    """The library signs and checks on an event loop; whoever calls may be on one already, so it gets its own thread."""
    with ThreadPoolExecutor(1) as one:
        return one.submit(asyncio.run, work).result()


def _signer(keys: Keys) -> signers.SimpleSigner:
    der = keys.key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    known = SimpleCertificateStore()  # type: ignore[no-untyped-call]
    known.register_multiple([asn1_of(one) for one in (keys.root, *keys.others)])
    return signers.SimpleSigner(
        signing_cert=asn1_of(keys.leaf), signing_key=asn1_keys.PrivateKeyInfo.load(der), cert_registry=known
    )


def asn1_of(certificate: x509.Certificate) -> asn1_x509.Certificate:
    return asn1_x509.Certificate.load(certificate.public_bytes(Encoding.DER))


class ServiceStamps(TimeStamper):
    """Time-stamps of a service after RFC 3161, over HTTP."""

    def __init__(self, url: str) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self.url = url

    async def async_request_tsa_response(self, req: tsp.TimeStampReq) -> tsp.TimeStampResp:
        headers = {"Content-Type": "application/timestamp-query", "Accept": "application/timestamp-reply"}
        try:
            asked = Request(self.url, data=req.dump(), headers=headers)  # noqa: S310 - the owner's own setting
            with urlopen(asked, timeout=STAMP_SECONDS) as answer:  # noqa: S310
                return tsp.TimeStampResp.load(answer.read(STAMP_BYTES))
        except (URLError, OSError, ValueError) as error:
            if isinstance(error, HTTPError):
                error.close()  # the answer, with its connection
            raise TimestampRequestError("no time-stamp") from error
