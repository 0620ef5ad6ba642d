"""Texts that the database and the browser keep without being able to read them: encrypted with a key derived from this
installation's SECRET_KEY (Fernet: AES-128-CBC with HMAC-SHA-256)."""

import base64

from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings


def hide(text: str) -> str:
    return _box().encrypt(text.encode()).decode()


def shown(hidden: str, *, at_most_seconds: int | None = None) -> str | None:
    """The text again; None where it was hidden with another key, was changed, or is older than `at_most_seconds`."""
    try:
        return _box().decrypt(hidden.encode(), ttl=at_most_seconds).decode()
    except InvalidToken:
        return None


def _box() -> Fernet:
    derived = HKDF(algorithm=SHA256(), length=32, salt=None, info=b"topwright: second factor")
    return Fernet(base64.urlsafe_b64encode(derived.derive(settings.SECRET_KEY.encode())))
