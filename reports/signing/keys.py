"""The keys that sign: a P-256 key whose certificate (the leaf) stands under the shop's own root, in one PKCS#12 file.

In the embedded default the file is made at first use. The root's key is thrown away once it has signed the leaf: it
can sign nothing else, and nobody can take it. In production the file is given by settings and never made here.
"""

import os
import secrets
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, pkcs12
from cryptography.x509.oid import NameOID
from django.utils.translation import gettext as _

from shop.errors import ShopError

LASTS = timedelta(days=3653)
"""How long what is made here is good for: ten years."""
NAME_BYTES = 64
"""X.520 gives a name 64 characters; the library counts bytes of UTF-8, and letters with accents have two."""


@dataclass(frozen=True, slots=True)
class Keys:
    """`others`: certificates between leaf and root, if any."""

    key: ec.EllipticCurvePrivateKey
    leaf: x509.Certificate
    root: x509.Certificate
    others: tuple[x509.Certificate, ...] = ()

    @property
    def root_pem(self) -> str:
        return self.root.public_bytes(Encoding.PEM).decode("ascii")

    @property
    def root_fingerprint(self) -> str:
        return fingerprint_of(self.root)


def fingerprint_of(certificate: x509.Certificate) -> str:
    """SHA-256 of the certificate's DER, hex."""
    return certificate.fingerprint(hashes.SHA256()).hex()


def keys_for(path: Path, passphrase: str, *, issuer: str, now: datetime, make: bool) -> Keys:
    """The keys in `path`; `make`: made there first where there are none. ShopError: why nothing can be signed."""
    if make and not path.exists():
        _write_once(path, keys_made(issuer, now), passphrase)
    keys = _read(path, passphrase)
    if now >= keys.leaf.not_valid_after_utc:
        day = f"{keys.leaf.not_valid_after_utc:%Y-%m-%d}"
        words = _("The shop’s certificate for signing ended on {day}; nothing is issued without a new key file.")
        raise ShopError(words.format(day=day))
    if now < keys.leaf.not_valid_before_utc:
        day = f"{keys.leaf.not_valid_before_utc:%Y-%m-%d}"
        raise ShopError(_("The shop’s certificate for signing is good from {day} on only.").format(day=day))
    return keys


def keys_made(issuer: str, now: datetime) -> Keys:
    """A new root and a leaf under it, in the name of `issuer`; good from a day before `now`, for clocks differ."""
    root_key, leaf_key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    root_name, leaf_name = _name(issuer, _("root of certificates")), _name(issuer, _("top inspection certificates"))
    root = (
        _certificate(root_name, root_name, root_key.public_key(), now)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs_certificates=True), critical=True)
        .sign(root_key, hashes.SHA256())
    )
    identifier = root.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    leaf = (
        _certificate(leaf_name, root_name, leaf_key.public_key(), now)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs_certificates=False), critical=True)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False)
        .sign(root_key, hashes.SHA256())
    )
    return Keys(leaf_key, leaf, root)


def _name(issuer: str, what: str) -> x509.Name:
    short = _cut(" ".join(issuer.split()), NAME_BYTES - 4) or "Topwright"
    common = f"{_cut(short, NAME_BYTES - 3 - len(what.encode()))}, {what}"
    return x509.Name(
        [x509.NameAttribute(NameOID.ORGANIZATION_NAME, short), x509.NameAttribute(NameOID.COMMON_NAME, common)]
    )


def _cut(words: str, most: int) -> str:
    """As many whole letters as fit into `most` bytes."""
    return words.encode()[:most].decode(errors="ignore").rstrip()


def _certificate(
    subject: x509.Name, issuer: x509.Name, public: ec.EllipticCurvePublicKey, now: datetime
) -> x509.CertificateBuilder:
    begins = now.astimezone(UTC) - timedelta(days=1)
    return (
        x509.CertificateBuilder(subject_name=subject, issuer_name=issuer, public_key=public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(begins)
        .not_valid_after(begins + LASTS)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
    )


def _usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        content_commitment=not signs_certificates,  # validators ask a signer's certificate for it
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        encipher_only=False,
        decipher_only=False,
    )


def as_pkcs12(keys: Keys, passphrase: str) -> bytes:
    """The whole in one file. Without a passphrase the file's mode is what protects it, as of the secret key."""
    from cryptography.hazmat.primitives.serialization import BestAvailableEncryption

    hidden = BestAvailableEncryption(passphrase.encode()) if passphrase else NoEncryption()
    return pkcs12.serialize_key_and_certificates(b"topwright", keys.key, keys.leaf, [*keys.others, keys.root], hidden)


def _write_once(path: Path, keys: Keys, passphrase: str) -> None:
    """Whole or not at all, and the first of two processes wins: written aside, then linked to its name."""
    aside = path.with_name(f".{path.name}.{secrets.token_hex(8)}")
    try:
        with open(os.open(aside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(as_pkcs12(keys, passphrase))
            file.flush()
            os.fsync(file.fileno())
        with suppress(FileExistsError):  # another process was first; its keys are the shop's
            os.link(aside, path)
    finally:
        aside.unlink(missing_ok=True)


def _read(path: Path, passphrase: str) -> Keys:
    try:
        blob = path.read_bytes()
    except OSError as error:
        words = _("The key file that signs certificates cannot be read ({why}); see SIGNING_KEY in the settings.")
        raise ShopError(words.format(why=error.strerror or type(error).__name__)) from error
    try:
        found = pkcs12.load_pkcs12(blob, passphrase.encode() or None)
    except ValueError as error:
        words = _(
            "The key file that signs certificates cannot be opened: the passphrase is wrong, or it is no PKCS#12 file; "
            "see SIGNING_PASSPHRASE in the settings."
        )
        raise ShopError(words) from error
    leaf = found.cert.certificate if found.cert else None
    others = tuple(one.certificate for one in found.additional_certs)
    roots = [one for one in others if one.subject == one.issuer]
    if not isinstance(found.key, ec.EllipticCurvePrivateKey) or leaf is None or len(roots) != 1:
        words = _(
            "The key file that signs certificates is not whole: expected an elliptic-curve key, its certificate and "
            "the one root above it."
        )
        raise ShopError(words)
    keys = Keys(found.key, leaf, roots[0], tuple(one for one in others if one is not roots[0]))
    _refuse_strangers(keys)
    return keys


def _refuse_strangers(keys: Keys) -> None:
    """ShopError unless the key belongs to the leaf and the leaf stands under the root, so that no paper is issued that
    would be called altered the next day."""
    words = _("The certificates in the key file do not belong together: key, certificate and root.")
    if keys.key.public_key() != keys.leaf.public_key():
        raise ShopError(words)
    try:
        if not keys.others:
            keys.leaf.verify_directly_issued_by(keys.root)
    except (InvalidSignature, ValueError, TypeError) as error:
        raise ShopError(words) from error
