"""The signed certificate, judged by others: Poppler (pdfsig, pdffonts), qpdf, OpenSSL, pyHanko's validator, PDFium,
ZXing, a JSON Schema validator, and pikepdf's validator for PDF/A-3b (ISO 19005-3, allow-listed from veraPDF's rules).

What is asked of the signature: ETSI EN 319 142-1, PAdES baseline B-B (SubFilter ETSI.CAdES.detached, one signer, the
signing certificate bound by its hash, no signing-time attribute, the whole file but Contents in ByteRange).
What is asked of the check: whatever one byte is changed, added or left out, it is never valid.

pdfsig's exit code only says that there is a signature: its words are read, both "Signature is Valid." and "- Total
document signed" ("Not total document signed" has these words too). Exit codes of qpdf: 0 sound, 3 warnings, 2 errors.
"""

import json
import os
import random
import re
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from hashlib import sha256
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import jsonschema
import pikepdf
import pikepdf.pdfa
import pypdfium2 as pdfium
import pytest
import zxingcpp
from asn1crypto import keys as asn1_keys
from asn1crypto import pem, tsp
from asn1crypto import x509 as asn1_x509
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import rsa
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone
from pyhanko.pdf_utils.generic import NumberObject
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign import signers
from pyhanko.sign.fields import SigFieldSpec, append_signature_field
from pyhanko.sign.timestamps import DummyTimeStamper
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko.sign.validation.status import SignatureCoverageLevel
from pyhanko_certvalidator import ValidationContext

from reports import checking
from reports.document import schema
from reports.models import Certificate, SigningRoot
from reports.sealing import check_url
from reports.signing import sign
from reports.signing.judge import judge
from reports.signing.keys import keys_made
from reports.signing.sign import apart, signed
from shop.errors import ShopError
from shop.models import Job, User
from tests.reports import conftest as bench
from tests.reports.signing import file_of, issued

pytestmark = pytest.mark.django_db
shop_profile, sheet, enter, checked = bench.shop_profile, bench.sheet, bench.enter, bench.checked


def tool(name: str) -> str:
    """The program of that name; without it the test is skipped, in CI it fails."""
    found = shutil.which(name)
    if found is None and not os.environ.get("CI"):
        pytest.skip(f"no {name} on this machine")
    assert found, f"{name} is missing; in CI that is a failure"
    return found


def run(*command: str, exit_codes: tuple[int, ...] = (0,)) -> str:
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode in exit_codes, done.stdout + done.stderr
    return done.stdout


@pytest.fixture
def certificate(checked: Job, owner: User, settings: Any, tmp_path: Path) -> Certificate:
    settings.SIGNING_KEY, settings.SIGNING_KEY_MADE = str(tmp_path / "signing.p12"), True
    return issued(checked, owner)


@pytest.fixture
def pdf(certificate: Certificate) -> bytes:
    return file_of(certificate)


@pytest.fixture
def path(pdf: bytes, tmp_path: Path) -> Path:
    path = tmp_path / "certificate.pdf"
    path.write_bytes(pdf)
    return path


def pdfsig_ok(text: str) -> bool:
    whole = "- Total document signed" in text and "Not total document signed" not in text
    return whole and "Signature Validation: Signature is Valid." in text


class TestTheSignature:
    def test_pdfsig(self, path: Path, tmp_path: Path) -> None:
        program, more = tool("pdfsig"), []
        if certutil := shutil.which("certutil"):
            store = f"sql:{tmp_path / 'nss'}"
            (tmp_path / "nss").mkdir()
            (tmp_path / "root.pem").write_text(SigningRoot.objects.get().pem)
            run(certutil, "-N", "-d", store, "--empty-password")
            run(certutil, "-A", "-d", store, "-n", "root", "-t", "CT,C,C", "-i", str(tmp_path / "root.pem"))
            more = ["-nssdir", store]
        text = run(program, *more, str(path))
        assert pdfsig_ok(text), text
        assert "Signature Type: ETSI.CAdES.detached" in text
        assert "Signing Hash Algorithm: SHA-256" in text
        assert not more or "Certificate Validation: Certificate is Trusted." in text

    def test_openssl(self, pdf: bytes, tmp_path: Path) -> None:
        """The CMS object over the bytes that ByteRange names, without any PDF library."""
        a, b, c, d = map(int, re.findall(rb"/ByteRange \[ *(\d+) (\d+) (\d+) (\d+)", pdf)[0])
        assert (a, c + d) == (0, len(pdf))
        (tmp_path / "signed").write_bytes(pdf[:b] + pdf[c:])
        der = bytes.fromhex(pdf[b + 1 : c - 1].decode())
        (tmp_path / "cms").write_bytes(der)
        (tmp_path / "root.pem").write_text(SigningRoot.objects.get().pem)
        files = {"-in": "cms", "-content": "signed", "-CAfile": "root.pem", "-out": "out"}
        named = [word for key, name in files.items() for word in (key, str(tmp_path / name))]
        run(tool("openssl"), "cms", "-verify", "-binary", "-inform", "DER", "-purpose", "any", *named)

    def test_pyhanko_and_the_baseline(self, pdf: bytes) -> None:
        roots = [asn1_x509.Certificate.load(pem.unarmor(SigningRoot.objects.get().pem.encode())[2])]
        (found,) = PdfFileReader(BytesIO(pdf)).embedded_signatures
        status = validate_pdf_signature(found, ValidationContext(trust_roots=roots, allow_fetching=False))
        assert status.bottom_line
        assert status.coverage == SignatureCoverageLevel.ENTIRE_FILE
        assert found.sig_object["/SubFilter"] == "/ETSI.CAdES.detached"
        assert "/M" in found.sig_object
        assert "/Cert" not in found.sig_object
        (signer,) = found.signed_data["signer_infos"]
        attributes = {one["type"].native for one in signer["signed_attrs"]}
        assert {"content_type", "message_digest", "signing_certificate_v2"} <= attributes
        assert "signing_time" not in attributes

    def test_it_begins_with_the_unsigned_file(self, certificate: Certificate, pdf: bytes) -> None:
        end = pdf.index(b"%%EOF") + len(b"%%EOF\n")
        assert sha256(pdf[:end]).hexdigest() == certificate.unsigned_sha256
        assert sha256(pdf).hexdigest() == certificate.sha256

    def test_with_a_time_stamp(self, pdf: bytes, time_service: str) -> None:
        """The service is pyHanko's own stand-in, asked over HTTP; what it says is read back from the signature."""
        unsigned, keys = pdf[: pdf.index(b"%%EOF") + 6], keys_made("Shop", _now())
        stamped = signed(unsigned, keys, reason="r", place="p", timestamps=time_service)
        (found,) = PdfFileReader(BytesIO(stamped)).embedded_signatures
        unsigned_attributes = found.signed_data["signer_infos"][0]["unsigned_attrs"]
        assert [one["type"].native for one in unsigned_attributes] == ["signature_time_stamp_token"]
        assert not judge(stamped, [keys.root_pem]).wrong
        with pytest.raises(ShopError, match="gave no time-stamp"):
            signed(unsigned, keys, reason="r", place="p", timestamps=f"{time_service}nothing-here")


@pytest.fixture
def time_service() -> Iterator[str]:
    """The address of a time-stamp service after RFC 3161."""
    key = rsa.generate_private_key(65537, 2048)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Time")])
    begins = _now() - timedelta(days=1)
    made = (
        x509.CertificateBuilder(name, name, key.public_key(), 1, begins, begins + timedelta(days=9))
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.TIME_STAMPING]), critical=True)
        .sign(key, hashes.SHA256())
    )
    der = key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    stamper = DummyTimeStamper(sign.asn1_of(made), asn1_keys.PrivateKeyInfo.load(der))

    class Service(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked = self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(200 if self.path == "/" else 404)
            self.end_headers()
            self.wfile.write(stamper.request_tsa_response(tsp.TimeStampReq.load(asked)).dump())

        def log_message(self, *_words: Any) -> None:
            """Quiet."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Service) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/"
        server.shutdown()


def _now() -> datetime:
    return timezone.now().replace(microsecond=0)


class TestTheFile:
    def test_qpdf(self, path: Path) -> None:
        assert "No syntax or stream encoding errors found" in run(tool("qpdf"), "--check", str(path))

    def test_fonts_are_embedded(self, path: Path) -> None:
        rows = run(tool("pdffonts"), str(path)).splitlines()[2:]
        assert rows
        assert all(re.search(r" yes yes yes +\d+ +0$", row) for row in rows), rows

    def test_archive(self, certificate: Certificate, pdf: bytes) -> None:
        """Before it is signed nothing is left to say; of signatures and attachments that validator knows nothing."""
        unsigned = pdf[: pdf.index(b"%%EOF") + 6]
        with pikepdf.open(BytesIO(unsigned)) as opened:
            assert not pikepdf.pdfa.check(opened, "3b").findings
        with pikepdf.open(BytesIO(pdf)) as opened:
            findings = pikepdf.pdfa.check(opened, "3b").findings
            assert {one.kind for one in findings} == {"unsupported"}
            spec = opened.Root.AF[0]
            assert (spec.AFRelationship, spec.UF) == ("/Data", f"{certificate.number}.json")
            file = spec.EF.F
            assert file.Subtype == "/application/json"
            assert "/ModDate" in file.Params

    def test_words_in_order(self, certificate: Certificate, pdf: bytes) -> None:
        words = _words(pdf)
        order = ["Top inspection certificate", "Overall result", "What was tested", "What was found",
                 "What was left out", "Outlook", "Proof matrix", "What was not tested", "Cautions", "How it was done",
                 "What this certificate is", "Approval", "Checking this certificate", certificate.data_sha256,
                 "End of certificate"]  # fmt: skip
        at = 0
        for one in order:
            at = words.index(one, at)

    def test_code_leads_to_the_check(self, certificate: Certificate, pdf: bytes) -> None:
        document = pdfium.PdfDocument(pdf)
        image = document[0].render(scale=200 / 72).to_pil()
        document.close()
        (code,) = zxingcpp.read_barcodes(image)
        assert code.text == check_url(certificate.number)
        assert Client().get(code.text.partition("localhost:8000")[2]).status_code == 200


def _words(pdf: bytes) -> str:
    document = pdfium.PdfDocument(pdf)
    try:
        return " ".join(re.sub(r"\s+", " ", page.get_textpage().get_text_bounded()) for page in document)
    finally:
        document.close()


class TestTheData:
    def test_they_follow_the_schema_and_are_what_is_stored(self, certificate: Certificate, pdf: bytes) -> None:
        with pikepdf.open(BytesIO(pdf)) as opened:
            data = opened.attachments[f"{certificate.number}.json"].get_file().read_bytes()
        published = Client().get("/check/topwright-certificate-1.schema.json").json()
        jsonschema.Draft202012Validator.check_schema(published)
        check = jsonschema.Draft202012Validator(published, format_checker=jsonschema.FormatChecker())
        check.validate(json.loads(data))
        assert json.loads(data) == certificate.content
        assert sha256(data).hexdigest() == certificate.data_sha256
        broken = json.loads(data)
        del broken["item"]["vin"]
        assert list(check.iter_errors(broken))

    def test_the_schema_in_the_repository_is_the_one_of_the_model(self) -> None:
        again = "python -m reports.document.schema"
        assert schema.PATH.read_text(encoding="utf-8") == schema.as_text(), f"the model changed: {again}"


def regions(pdf: bytes) -> dict[str, int]:
    """One offset in each kind of place that a file has."""
    (_a, b, c, _d) = map(int, re.findall(rb"/ByteRange \[ *(\d+) (\d+) (\d+) (\d+)", pdf)[0])
    at = {"header": 3, "version": 7, "binary comment": pdf.index(b"%", 5) + 2, "last byte": len(pdf) - 1}
    for name, words in {
        "catalog": b"/Type /Catalog", "page": b"/MediaBox", "pages": b"/Type /Pages", "font": b"/BaseFont",
        "font descriptor": b"/FontDescriptor", "metadata": b"/Type /Metadata", "title": b"/Title",
        "output intent": b"/OutputConditionIdentifier", "file": b"/Type /EmbeddedFile", "file spec": b"/AFRelationship",
        "object": b" 0 obj", "end of object": b"endobj", "stream": b"\nstream\n", "end of stream": b"endstream",
        "first xref": b"xref\n", "first trailer": b"trailer", "first startxref": b"startxref", "first end": b"%%EOF",
        "outline": b"/Type /Outlines", "id": b"/ID [",
    }.items():  # fmt: skip
        assert words in pdf, name
        at[name] = pdf.index(words) + len(words) // 2
    for name, words in {
        "signature": b"/SubFilter", "reason": b"/Reason", "permissions": b"/DocMDP", "last xref": b"xref\n",
        "last trailer": b"trailer", "last startxref": b"startxref", "last end": b"%%EOF", "range": b"/ByteRange [0",
    }.items():  # fmt: skip
        at[name] = pdf.rindex(words) + len(words) - 2
    return at | {
        "before contents": b, "contents, outermost": b + 3, "contents, middle": b + 2000,
        "contents, padding": c - 40, "contents, last digit": c - 2, "after contents": c - 1,
    }  # fmt: skip


def flipped(pdf: bytes, at: int) -> bytes:
    changed = bytearray(pdf)
    changed[at] ^= 1
    return bytes(changed)


def page_appended(pdf: bytes) -> bytes:
    out = BytesIO()
    with pikepdf.open(BytesIO(pdf)) as opened:
        opened.add_blank_page()
        opened.save(out)
    return out.getvalue()


def data_changed(pdf: bytes) -> bytes:
    out = BytesIO()
    with pikepdf.open(BytesIO(pdf)) as opened:
        file = opened.Root.AF[0].EF.F
        file.write(file.read_bytes().replace(b'"fail"', b'"pass"'))
        opened.save(out)
    return out.getvalue()


def saved_anew(pdf: bytes) -> bytes:
    out = BytesIO()
    with pikepdf.open(BytesIO(pdf)) as opened:
        opened.save(out)
    return out.getvalue()


def revised(pdf: bytes) -> bytes:
    """A second revision behind the signed one, as an editor appends it."""
    writer, out = IncrementalPdfFileWriter(BytesIO(pdf)), BytesIO()
    page = writer.root["/Pages"]["/Kids"][0].get_object()
    page["/Rotate"] = NumberObject(90)
    writer.update_container(page)
    writer.write(out)
    return out.getvalue()


def signed_twice(pdf: bytes) -> bytes:
    """A second signature, by a stranger, behind the shop's, made by hand since the library refuses on a final file."""
    keys = keys_made("Somebody else", _now())
    unsigned = pdf[: pdf.index(b"%%EOF") + 6]
    out = BytesIO()
    for name in ("One", "Two"):
        writer = IncrementalPdfFileWriter(BytesIO(unsigned))
        append_signature_field(writer, SigFieldSpec(name))
        meta, out = signers.PdfSignatureMetadata(field_name=name), BytesIO()
        apart(signers.PdfSigner(meta, signer=sign._signer(keys)).async_sign_pdf(writer, output=out))
        unsigned = out.getvalue()
    return unsigned


CHANGES: dict[str, Callable[[bytes], bytes]] = {
    "a byte appended": lambda pdf: pdf + b"\n",
    "much appended": lambda pdf: pdf + b"%" + b"x" * 5000 + b"\n%%EOF\n",
    "a byte before": lambda pdf: b"\n" + pdf,
    "the last byte gone": lambda pdf: pdf[:-1],
    "cut in half": lambda pdf: pdf[: len(pdf) // 2],
    "the signature cut off": lambda pdf: pdf[: pdf.index(b"%%EOF") + 6],
    "a page appended": page_appended,
    "the data changed": data_changed,
    "saved anew": saved_anew,
    "a revision appended": revised,
    "signed by a stranger": lambda pdf: signed(
        pdf[: pdf.index(b"%%EOF") + 6], keys_made("Somebody else", _now()), reason="r", place="p"
    ),
    "two signatures": signed_twice,
}


def states(content: bytes, tmp_path: Path) -> Iterator[str]:
    """What the command and the public page say of a file."""
    path, out = tmp_path / "brought.pdf", StringIO()
    path.write_bytes(content)
    try:
        call_command("check_certificate", str(path), json=True, stdout=out)
        yield str(json.loads(out.getvalue())["state"])
    except CommandError as error:
        yield str(error)
    page = Client().post("/check/", {"file": SimpleUploadedFile("c.pdf", content)})
    found = re.search(r'class="tag tag-[a-z]+">(\w+)<', page.content.decode())
    yield found[1].lower() if found else f"{page.status_code}"


class TestTampering:
    def test_untouched_is_valid(self, pdf: bytes, tmp_path: Path) -> None:
        assert list(states(pdf, tmp_path)) == ["valid", "valid"]

    @pytest.mark.parametrize("change", CHANGES)
    def test_never_valid(self, pdf: bytes, tmp_path: Path, change: str) -> None:
        changed = CHANGES[change](pdf)
        assert changed != pdf
        assert list(states(changed, tmp_path)) == ["altered", "altered"]

    def test_one_byte_in_every_kind_of_place(self, pdf: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """Read in this process: a process for each would take minutes. The next test takes the way of a stranger."""
        monkeypatch.setattr(checking, "judge_apart", judge)
        wrong = {}
        for place, at in regions(pdf).items():
            wrong[place] = list(states(flipped(pdf, at), tmp_path))
        assert all(told == ["altered", "altered"] for told in wrong.values()), wrong

    def test_one_byte_by_a_stranger(self, pdf: bytes, tmp_path: Path) -> None:
        for place in ("header", "stream", "contents, middle", "last byte"):
            assert list(states(flipped(pdf, regions(pdf)[place]), tmp_path)) == ["altered", "altered"], place

    def test_one_byte_anywhere(self, pdf: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(checking, "judge_apart", judge)
        draws = random.Random(11)  # noqa: S311 - places to look at
        for at in draws.sample(range(len(pdf)), 300):
            changed = bytearray(pdf)
            changed[at] ^= 1 << draws.randrange(8)
            assert checking.check_file(bytes(changed)).state == checking.State.ALTERED, at

    def test_pdfsig_sees_what_is_signed(self, pdf: bytes, tmp_path: Path) -> None:
        """The independent reader agrees, so that it is the file that tells, and not only our record of it."""
        program, path = tool("pdfsig"), tmp_path / "changed.pdf"
        fine = []
        for place, at in regions(pdf).items():
            path.write_bytes(flipped(pdf, at))
            if pdfsig_ok(run(program, str(path), exit_codes=(0, 1, 2))):
                fine.append(place)
        # The signature's own object is not under the signature: its padding, and a certificate that nobody trusts here.
        assert set(fine) <= {"contents, middle", "contents, padding", "contents, last digit"}
        for name, change in CHANGES.items():
            path.write_bytes(change(pdf))
            text = run(program, str(path), exit_codes=(0, 1, 2))
            assert name in ("signed by a stranger", "two signatures") or not pdfsig_ok(text), name
