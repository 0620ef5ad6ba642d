"""`manage.py certificate JOB --out FILE.pdf`."""

from hashlib import sha256
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from reports.models import Certificate, CertificateState
from shop.models import Job, User


def test_writes_the_issued_file(checked: Job, owner: User, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "paper.pdf"
    call_command("certificate", checked.number, out=str(out))
    made = Certificate.objects.get()
    assert made.state == CertificateState.ISSUED
    assert sha256(out.read_bytes()).hexdigest() == made.sha256
    assert made.content["approved_by"] == {"name": "owner", "role": "Owner"}
    assert made.number in capsys.readouterr().out
    call_command("certificate", str(checked.pk), out=str(tmp_path / "again.pdf"))
    assert Certificate.objects.count() == 1
    assert (tmp_path / "again.pdf").read_bytes() == out.read_bytes()


@pytest.mark.parametrize("job", ["J99999", "0", "", "J", "J1x", "１２"])
def test_unknown_job(db: None, job: str, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="There is no job") as caught:
        call_command("certificate", job, out=str(tmp_path / "x.pdf"))
    assert caught.value.returncode == 2
    assert not (tmp_path / "x.pdf").exists()


def test_nothing_inspected(job: Job, sheet: object, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="Nothing has been inspected") as caught:
        call_command("certificate", job.number, out=str(tmp_path / "x.pdf"))
    assert caught.value.returncode == 2
    assert not (tmp_path / "x.pdf").exists()


def test_a_place_that_cannot_be_written(checked: Job, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="cannot be written") as caught:
        call_command("certificate", checked.number, out=str(tmp_path / "nowhere" / "x.pdf"))
    assert caught.value.returncode == 2
