"""The room for a signature: reckoned, so that the key signs once, and wide enough for the longest keys and names."""

from dataclasses import replace
from typing import Any

import pytest
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509 import CertificateBuilder, random_serial_number
from django.utils import timezone
from pyhanko.sign import signers

from reports.document.draw import draw
from reports.signing.judge import judge
from reports.signing.keys import Keys, keys_made
from reports.signing.sign import signed
from tests.reports import sample


@pytest.fixture(scope="module")
def pdf() -> bytes:
    return draw(sample.certificate(sample.results(sample.evidence_of([])))).pdf


def with_longest_key(issuer: str) -> Keys:
    """The leaf on P-521, signed by a root on P-521, beside two certificates that only ride along."""
    made, root_key, key = keys_made(issuer, timezone.now()), *(ec.generate_private_key(ec.SECP521R1()) for _ in "12")
    root, leaf = (
        _again(one, public, root_key)
        for one, public in ((made.root, root_key.public_key()), (made.leaf, key.public_key()))
    )
    return replace(made, key=key, leaf=leaf, root=root, others=(made.root, made.leaf))


def _again(like: Any, public: Any, by: Any) -> Any:
    begins, ends = like.not_valid_before_utc, like.not_valid_after_utc
    builder = CertificateBuilder(like.issuer, like.subject, public, random_serial_number(), begins, ends)
    for one in like.extensions:
        if one.oid.dotted_string not in ("2.5.29.35", "2.5.29.14"):  # key identifiers, of the other keys
            builder = builder.add_extension(one.value, one.critical)
    return builder.sign(by, hashes.SHA256())


def test_the_key_signs_once(pdf: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[bool] = []
    real = signers.SimpleSigner.async_sign_raw

    async def counted(self: Any, data: bytes, digest_algorithm: str, dry_run: bool = False) -> bytes:
        asked.append(dry_run)
        return await real(self, data, digest_algorithm, dry_run)

    monkeypatch.setattr(signers.SimpleSigner, "async_sign_raw", counted)
    signed(pdf, keys_made("Shop", timezone.now()), reason="r", place="p")
    assert asked == [False]


@pytest.mark.parametrize("keys", [keys_made("Ö" * 80, timezone.now()), with_longest_key("Ö" * 80)], ids=["own", "long"])
def test_it_is_wide_enough(pdf: bytes, keys: Keys) -> None:
    made = signed(pdf, keys, reason="r" * 200, place="p" * 200)
    assert made.startswith(pdf)
    assert not judge(made, [keys.root_pem]).wrong
    begins = made.index(b"/Contents <") + len(b"/Contents <")
    contents = made[begins : made.index(b">", begins)]
    assert len(contents) - len(contents.rstrip(b"0")) > 0, "some room is left, and not too much"
    assert len(contents.rstrip(b"0")) > len(contents) / 3
