"""What people type into one line: tidied, and a reason refused where it is missing or too long."""

from django.utils.translation import gettext as _

from shop.errors import ShopError

REASON_AT_MOST = 300


def one_line(text: str) -> str:
    """On one line, without NUL (PostgreSQL takes none)."""
    return " ".join(text.replace("\0", " ").split())


def reason_of(text: str, missing: str = "") -> str:
    """A reason on one line. ShopError where it is too long, or empty: with `missing`; without it a reason may be
    left out."""
    reason = one_line(text)
    if missing and not reason:
        raise ShopError(missing)
    if len(reason) > REASON_AT_MOST:
        raise ShopError(_("The reason is too long; expected at most {most} characters.").format(most=REASON_AT_MOST))
    return reason
