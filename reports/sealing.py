"""From a certificate's content to the file that is issued: drawn, its data embedded, signed, and judged once by
ourselves. Writes nothing but, at first use, the shop's own key file.

The libraries that embed and sign take half a second and 30 MB to load: only who issues a certificate loads them."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urljoin

from django.conf import settings
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.engine.words import _ as said
from reports.document.content import Certificate as Content
from reports.document.content import to_json
from reports.document.draw import Drawn, Proof, data_name, draw
from reports.document.languages import speaking_in
from shop.errors import ShopError

if TYPE_CHECKING:
    from reports.signing.keys import Keys


@dataclass(frozen=True, slots=True)
class Sealed:
    """`pdf` is signed; the first bytes of it, `unsigned_sha256`, are the drawing with its data. Hashes are hex."""

    pdf: bytes
    pages: int
    unsigned_sha256: str
    data_sha256: str
    root_pem: str
    root_fingerprint: str

    @property
    def sha256(self) -> str:
        return sha256(self.pdf).hexdigest()


def check_url(number: str) -> str:
    """The public page about a certificate, as it is printed."""
    return urljoin(str(settings.PUBLIC_URL), reverse("reports:check-number", args=[number]))


def shop_keys(issuer: str, now: datetime) -> "Keys":
    """The keys of this installation. ShopError: why nothing can be signed."""
    from reports.signing.keys import keys_for

    path, make = Path(settings.SIGNING_KEY), settings.SIGNING_KEY_MADE
    return keys_for(path, settings.SIGNING_PASSPHRASE, issuer=issuer, now=now, make=make)


def paper(content: Content, pictures: Mapping[str, bytes] | None = None) -> Drawn:
    """The certificate with its code, and with its data embedded; not signed. `pictures`: digest -> JPEG."""
    from reports.document.archive import archived

    data = to_json(content).encode()
    drawn = draw(content, Proof(check_url(content.number), sha256(data).hexdigest()), pictures)
    name, at = data_name(content.number), content.issued_at
    return Drawn(archived(drawn.pdf, data, name=name, at=at, language=content.language), drawn.pages)


def seal(content: Content, drawn: Drawn) -> Sealed:
    """Sign what `paper` made. ShopError where keys or time-stamp are missing, or what was made does not hold."""
    from reports.signing.judge import judge
    from reports.signing.sign import signed

    keys = shop_keys(content.issuer.name, timezone.now())
    with speaking_in(content.language):
        reason = said("Top inspection certificate {number}").format(number=content.number)
    place = " ".join(content.issuer.address.split())
    pdf = signed(drawn.pdf, keys, reason=reason, place=place, timestamps=settings.TIMESTAMP_URL)
    if judge(pdf, [keys.root_pem]).wrong:
        raise ShopError(
            _("The signature just made does not hold by our own check, so nothing was issued; look at the key file.")
        )
    return Sealed(
        pdf,
        drawn.pages,
        unsigned_sha256=sha256(drawn.pdf).hexdigest(),
        data_sha256=sha256(to_json(content).encode()).hexdigest(),
        root_pem=keys.root_pem,
        root_fingerprint=keys.root_fingerprint,
    )
