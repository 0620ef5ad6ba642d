"""Checking a certificate by number and by file; withdrawing one; what keeps one from being signed."""

import json
import re
import resource
import stat
import threading
import zlib
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from io import BytesIO, StringIO
from pathlib import Path
from typing import Any

import pikepdf
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from reports import checking, services
from reports.models import Certificate, CertificateState, SigningRoot
from reports.sealing import check_url
from reports.signing.keys import as_pkcs12, keys_for, keys_made
from reports.signing.sign import signed
from reports.tasks import certificate_issue_task
from shop.errors import Conflict, Refused, ShopError
from shop.models import Job, RunState, TrailEntry, User
from tests.reports.signing import file_of, issued


@pytest.fixture(autouse=True)
def _keys(settings: Any, tmp_path: Path) -> None:
    settings.SIGNING_KEY, settings.SIGNING_KEY_MADE = str(tmp_path / "signing.p12"), True


@pytest.fixture
def certificate(checked: Job, owner: User) -> Certificate:
    return issued(checked, owner)


def command(path: Path) -> dict[str, Any]:
    out = StringIO()
    call_command("check_certificate", str(path), json=True, stdout=out)
    answer: dict[str, Any] = json.loads(out.getvalue())
    return answer


class TestTheCommand:
    def test_what_was_issued_is_valid(self, certificate: Certificate, tmp_path: Path) -> None:
        path = tmp_path / "c.pdf"
        path.write_bytes(file_of(certificate))
        answer = command(path)
        assert (answer["state"], answer["number"]) == ("valid", certificate.number)
        told = answer["signature"]
        assert (told["signatures"], told["intact"], told["trusted"], told["whole_file"]) == (1, True, True, True)
        assert answer["data"] == certificate.content
        assert answer["certificate"]["root_sha256"] == SigningRoot.objects.get().fingerprint

    def test_bad_input_is_one_line(self, db: None, tmp_path: Path) -> None:
        for name, content, words in (
            ("no.pdf", b"not a PDF at all", "no PDF"),
            ("large.pdf", b"%PDF-" + bytes(20 * 1024 * 1024), "at most 20 MB"),
        ):
            path = tmp_path / name
            path.write_bytes(content)
            with pytest.raises(CommandError, match=words) as caught:
                command(path)
            assert caught.value.returncode == 2
        with pytest.raises(CommandError, match="cannot be read") as caught:
            command(tmp_path / "nothing.pdf")
        assert caught.value.returncode == 2

    def test_a_strange_pdf_is_unknown(self, certificate: Certificate, tmp_path: Path) -> None:
        with pikepdf.new() as pdf:
            pdf.add_blank_page()
            pdf.save(tmp_path / "strange.pdf")
        answer = command(tmp_path / "strange.pdf")
        assert (answer["state"], answer["data"]) == ("unknown", None)


def test_what_is_wrong_is_said(certificate: Certificate, tmp_path: Path) -> None:
    whole, now = file_of(certificate), timezone.now()
    anew = BytesIO()
    with pikepdf.open(BytesIO(whole)) as pdf:
        pdf.save(anew)
    strangers = keys_made("Somebody else", now)
    unsigned = whole[: whole.index(b"%%EOF") + 6]
    changed = bytearray(whole)
    changed[whole.index(b"endstream") - 20] ^= 1
    padding = bytearray(whole)
    padding[whole.index(b"00" * 200) + 41] = ord("1")
    for content, words in (
        (whole + b"\n", "something was added to it after it was signed"),
        (bytes(changed), "contents are not those that were signed"),
        (bytes(padding), "outside of what is signed"),
        (unsigned, "carries no signature"),
        (signed(unsigned, strangers, reason="r", place="p"), "not by this shop"),
        (whole[:-700], "carries no signature|damaged"),
    ):
        found = checking.check_file(content)
        assert found.state == checking.State.ALTERED
        assert found.certificate == certificate
        assert re.search(words, found.words), found.words
    assert checking.check_file(anew.getvalue()).state == checking.State.ALTERED


def test_numbers_however_typed(certificate: Certificate) -> None:
    bare = certificate.number.replace("-", "")
    for typed in (certificate.number, certificate.number.lower(), f" {bare} ", certificate.number.replace("-", " – ")):
        assert checking.check_number(typed).state == checking.State.VALID
    wrong = certificate.number[:-1] + ("0" if certificate.number[-1] != "0" else "1")
    assert "mistyped" in checking.check_number(wrong).words
    assert "has issued no certificate" in checking.check_number("TW-2026-7K3M9QXZ-S").words
    for typed in ("", "\0", "x" * 5000, "ＴＷ-2026-7K3M9QXZ-4"):
        assert checking.check_number(typed).state == checking.State.UNKNOWN


def test_withdrawing(certificate: Certificate, checked: Job, owner: User, tech: User, tmp_path: Path) -> None:
    with pytest.raises(Refused):
        services.certificate_withdraw(certificate=certificate, reason="r", by=tech)
    with pytest.raises(ShopError, match="Say why"):
        services.certificate_withdraw(certificate=certificate, reason=" \n", by=owner)
    services.certificate_withdraw(certificate=certificate, reason="Wrong car on the bench", by=owner)
    with pytest.raises(Conflict, match="does not stand"):
        services.certificate_withdraw(certificate=certificate, reason="again", by=owner)
    certificate.refresh_from_db()
    assert certificate.state == CertificateState.WITHDRAWN
    assert TrailEntry.objects.get(kind="certificate.withdrawn").words.endswith("withdrawn: Wrong car on the bench")
    assert checking.check_file(file_of(certificate)).state == checking.State.WITHDRAWN
    assert checking.check_number(certificate.number).state == checking.State.WITHDRAWN
    # Nothing has changed in the job, and yet what is asked for now is a new certificate that names the withdrawn one.
    later = issued(checked, owner)
    assert later.replaces == certificate
    found = checking.check_number(certificate.number)
    assert (found.state, found.next_number) == (checking.State.WITHDRAWN, later.number)
    assert checking.check_number(later.number).state == checking.State.VALID


def test_a_replaced_one_says_by_what(certificate: Certificate, checked: Job, owner: User, enter: Any) -> None:
    enter(check="pin", position="BG3", pose="open", volts=12.1, supply_volts=12.4)
    later = issued(checked, owner)
    found = checking.check_file(file_of(certificate))
    assert (found.state, found.next_number) == (checking.State.REPLACED, later.number)


class TestThePublicPage:
    def test_it_says_the_state_and_no_name(self, certificate: Certificate, checked: Job, owner: User) -> None:
        page = Client().get(f"/check/{certificate.number}/")
        text = page.content.decode()
        assert page.status_code == 200
        assert ">Valid<" in text
        assert certificate.car.vin[-6:] in text
        assert certificate.car.vin not in text
        assert SigningRoot.objects.get().fingerprint in text
        assert "Ada Quill" not in text
        assert checked.title not in text
        services.certificate_withdraw(certificate=certificate, reason="Ada Quill asked", by=owner)
        text = Client().get(f"/check/{certificate.number}/").content.decode()
        assert ">Withdrawn<" in text
        assert "Ada Quill" not in text

    def test_files(self, certificate: Certificate) -> None:
        whole = file_of(certificate)
        for content, status, words in (
            (whole, 200, ">Valid<"),
            (whole + b"x", 200, ">Altered<"),
            (b"not a PDF", 422, "no PDF"),
            (b"%PDF-" + bytes(20 * 1024 * 1024), 422, "at most 20 MB"),
        ):
            page = Client().post("/check/", {"file": SimpleUploadedFile("c.pdf", content)})
            assert page.status_code == status
            assert words in page.content.decode()
        assert Client().post("/check/").status_code == 422
        big = SimpleUploadedFile("c.pdf", b"%PDF-" + bytes(23 * 1024 * 1024))
        assert Client().post("/check/", {"file": big}).status_code == 413

    def test_a_typed_number_goes_to_its_address(self, certificate: Certificate) -> None:
        page = Client().get("/check/", {"number": certificate.number.lower()})
        assert (page.status_code, page["Location"]) == (302, f"/check/{certificate.number}/")
        assert check_url(certificate.number) == f"http://localhost:8000/check/{certificate.number}/"
        assert Client().get("/check/", {"number": "TW-1"}).status_code == 404

    def test_guessing_ends(self, db: None) -> None:
        statuses = [Client().get("/check/TW-2026-7K3M9QXZ-S/").status_code for _ in range(31)]
        assert statuses == [404] * 30 + [429]

    def test_sending_ends(self, db: None) -> None:
        for _ in range(60):
            Client().post("/check/")
        assert Client().post("/check/").status_code == 429

    def test_root_and_schema(self, db: None, checked: Job, owner: User) -> None:
        assert Client().get("/check/root.pem").status_code == 404
        issued(checked, owner)
        assert Client().get("/check/root.pem").content.decode() == SigningRoot.objects.get().pem
        assert Client().get("/check/topwright-certificate-1.schema.json").json()["$id"] == "urn:topwright-certificate:1"

    def test_the_button(self, certificate: Certificate, client_as: Callable[[str], Client]) -> None:
        address = f"/certificates/{certificate.number}/"
        assert "Withdraw it" not in client_as("technician").get(address).content.decode()
        owner = client_as("owner")
        assert "Withdraw it" in owner.get(address).content.decode()
        assert owner.post(f"{address}withdraw/", {"reason": "Wrong car"}).status_code == 302
        assert "Wrong car" in owner.get(address).content.decode()


class TestKeys:
    def test_made_once_and_for_the_owner_alone(self, tmp_path: Path) -> None:
        path, now = tmp_path / "new.p12", timezone.now()
        found: list[str] = []

        def get() -> None:
            found.append(keys_for(path, "", issuer="Shop", now=now, make=True).root_fingerprint)

        threads = [threading.Thread(target=get) for _ in range(8)]
        for one in threads:
            one.start()
        for one in threads:
            one.join()
        assert len(found) == 8
        assert len(set(found)) == 1
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert [one.name for one in tmp_path.iterdir()] == ["new.p12"]

    @pytest.mark.parametrize("case", ["gone", "passphrase", "expired", "strange", "no-root"])
    def test_issuing_fails_with_the_reason(
        self, case: str, checked: Job, owner: User, settings: Any, tmp_path: Path
    ) -> None:
        path, now = tmp_path / "given.p12", timezone.now()
        settings.SIGNING_KEY, settings.SIGNING_KEY_MADE, settings.SIGNING_PASSPHRASE = str(path), False, "right"
        keys = keys_made("Shop", now - timedelta(days=4000 if case == "expired" else 0))
        if case != "gone":
            path.write_bytes(as_pkcs12(keys, "wrong" if case == "passphrase" else "right"))
        if case == "strange":
            path.write_bytes(as_pkcs12(replace(keys, root=keys_made("Other", now).root), "right"))
        if case == "no-root":
            path.write_bytes(b"no key file")
        certificate, run = services.certificate_freeze(job=checked, by=owner)
        assert run is not None
        certificate_issue_task(str(run.pk), certificate.pk)
        run.refresh_from_db()
        certificate.refresh_from_db()
        words = {
            "gone": "cannot be read",
            "passphrase": "the passphrase is wrong",
            "expired": "ended on",
            "strange": "do not belong together",
            "no-root": "it is no PKCS#12 file",
        }
        assert run.state == RunState.FAILED
        assert words[case] in run.words
        assert certificate.state == CertificateState.ISSUING
        assert not certificate.file
        assert not SigningRoot.objects.exists()
        assert not list((tmp_path / "files").rglob("*.pdf"))

    def test_a_change_of_keys_keeps_what_was_issued_valid(
        self, certificate: Certificate, checked: Job, owner: User, settings: Any, enter: Any, tmp_path: Path
    ) -> None:
        first = file_of(certificate)
        settings.SIGNING_KEY = str(tmp_path / "second.p12")
        assert checking.check_file(first).state == checking.State.VALID
        enter(check="pin", position="BG3", pose="open", volts=12.1, supply_volts=12.4)
        later = issued(checked, owner)
        assert SigningRoot.objects.count() == 2
        assert checking.check_file(first).state == checking.State.REPLACED
        assert checking.check_file(file_of(later)).state == checking.State.VALID


def test_a_file_that_unfolds_into_a_huge_one_holds_nothing_up(certificate: Certificate) -> None:
    packer = zlib.compressobj(1)
    zeros = bytes(16 * 1024**2)
    once = b"".join([*(packer.compress(zeros) for _ in range(96)), packer.flush()])  # 1.5 GB of nothing
    bomb = zlib.compress(once)
    head = b"%PDF-1.7\n8 0 obj\n<< /Type /XRef /Filter [/FlateDecode /FlateDecode] /W [1 4 1] /Size 9 /Root 2 0 R"
    stream = b" /Length %d >>\nstream\n" % len(bomb) + bomb + b"\nendstream\nendobj\nstartxref\n9\n%%EOF\n"
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    found = checking.check_file(head + stream + b"% " + certificate.number.encode())
    assert found.state == checking.State.ALTERED
    assert "damaged" in found.words
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss < before + 200_000  # kB
