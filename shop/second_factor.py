"""The code beside the password: who needs one, and codes by time (RFC 6238: HMAC-SHA-1, 6 digits, 30 seconds)."""

import datetime as dt
import secrets

import pyotp
import segno
from django.conf import settings
from django.utils.translation import gettext as _
from pyotp.utils import strings_equal

from shop.models import Role, User

NEEDED_BY = frozenset({Role.OWNER, Role.PARTS})
STEP_SECONDS = 30
DRIFT_STEPS = 1
"""Steps by which the clock of a telephone may be wrong, either way."""
RECOVERY_CODES = 10
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # without those that are read for another: 5 bits each
_RECOVERY_LENGTH = 12


def needed_by(user: User) -> bool:
    """Whether this person may do nothing before they have set up a second factor. The one place that says so."""
    return settings.SECOND_FACTOR and user.role in NEEDED_BY and not user.second_factor_waived


def new_secret() -> str:
    """160 bits in base32, the length that RFC 4226 recommends."""
    return pyotp.random_base32(32)


def otpauth_uri(secret: str, username: str, issuer: str) -> str:
    return pyotp.TOTP(secret).provisioning_uri(name=username, issuer_name=issuer)


def qr_svg(uri: str) -> str:
    """The address as a QR code, an SVG without any style of its own: dark on white whatever the page is."""
    code = segno.make(uri, micro=False, error="m")
    title = _("QR code for the telephone’s app")
    return str(code.svg_inline(svgclass="qr", lineclass=None, omitsize=True, light="#fff", dark="#000", title=title))


def in_fours(secret: str) -> str:
    return " ".join(secret[at : at + 4] for at in range(0, len(secret), 4))


def step_at(at: dt.datetime) -> int:
    """The number of the time step at an aware time."""
    return int(at.timestamp()) // STEP_SECONDS


def step_of(secret: str, code: str, *, at: dt.datetime, after: int) -> int | None:
    """The step that `code` is of, within the drift around `at` and later than the step `after` (of the code taken
    last); None for a code of no such step."""
    now, counter = step_at(at), pyotp.HOTP(secret)
    for step in range(now - DRIFT_STEPS, now + DRIFT_STEPS + 1):
        if step > after and strings_equal(counter.at(step), code):
            return step
    return None


def new_recovery_code() -> str:
    """60 bits, in three groups of four."""
    letters = "".join(secrets.choice(_LETTERS) for _place in range(_RECOVERY_LENGTH))
    return in_fours(letters).replace(" ", "-")


def tidy(typed: str) -> str:
    """A code as it is compared: without spaces and hyphens, capital letters."""
    return "".join(typed.upper().replace("-", "").split())


def is_recovery(tidied: str) -> bool:
    """Whether it has the shape of a recovery code: only then is it worth comparing it with slow hashes."""
    return len(tidied) == _RECOVERY_LENGTH and all(letter in _LETTERS for letter in tidied)
