"""The pages of old records: sent in, matched, looked at row by row, brought; and what is deleted when."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from reports.bring import files_tidy, import_ask
from reports.models import ImportedFile, ImportState
from reports.tasks import records_import_task
from shop.models import Car, RunState, TaskRun, User
from shop.runs import run_cancel
from tests.reports.records.conftest import judged_import, sent_in

pytestmark = pytest.mark.django_db

CARS = "VIN;Hersteller;Modell;Baujahr\n0TWAH5903RT000031;Halden;Brise;2014\n0TWAH5903RT000032;Halden;Brise;2015\n"
MATCHED = {
    "kind": "cars", "field-vin": "VIN", "field-maker": "Hersteller", "field-model": "Modell",
    "field-made_on": "Baujahr", "order": "", "sheet": "",
}  # fmt: skip


@pytest.fixture
def owners(client_as: Callable[[str], Client]) -> Client:
    return client_as("owner")


def _send(owners: Client, data: bytes, name: str = "alte Autos.csv") -> Any:
    return owners.post("/records/", {"file": SimpleUploadedFile(name, data)})


def _work() -> None:
    """What the worker would do now."""
    for run in TaskRun.objects.filter(state=RunState.QUEUED):
        row = ImportedFile.objects.get(run=run)
        records_import_task(str(run.pk), row.pk, run.title.startswith("Looking"))


def test_from_the_file_to_the_books(owners: Client) -> None:
    at = _send(owners, CARS.encode())["Location"]
    shown = owners.get(at).content.decode()
    assert "alte Autos.csv" in shown
    assert "0TWAH5903RT000031" in shown
    assert "<option selected>Baujahr</option>" in shown
    answer = owners.post(at, MATCHED)
    assert answer["Location"].startswith("/runs/")
    _work()
    shown = owners.get(at).content.decode()
    assert "Bring all rows" in shown
    assert not Car.objects.exists()
    owners.post(f"{at}bring/")
    _work()
    row = ImportedFile.objects.get()
    assert (row.state, row.file.name, row.fates["new"]) == (ImportState.DONE, "", 2)
    assert Car.objects.count() == 2
    assert "What became of each row" in owners.get(at).content.decode()
    assert owners.get(f"{at}rows.csv").content.decode().splitlines()[1] == "2,new,0TWAH5903RT000031,"


def test_the_file_is_deleted_once_it_is_brought(
    owner: User, settings: Any, django_capture_on_commit_callbacks: Any
) -> None:
    row = judged_import(owner)
    kept = Path(row.file.path)
    assert kept.exists()
    assert Path(settings.MEDIA_ROOT) in kept.parents
    run = import_ask(row=row, by=owner, dry_run=False)
    with django_capture_on_commit_callbacks(execute=True):
        records_import_task(str(run.pk), row.pk, False)
    assert not kept.exists()


def test_a_file_that_is_too_large_is_refused_as_the_page_says(owners: Client) -> None:
    assert "At most 15 MB and 100,000 rows." in owners.get("/records/").content.decode()
    answer = _send(owners, CARS.encode() + b"\n" * (15 * 1024 * 1024))
    assert answer.status_code == 422
    assert "The file is larger than 15 MB, the most that is taken; divide the table." in answer.content.decode()
    assert not ImportedFile.objects.exists()
    answer = _send(owners, bytes(18 * 1024 * 1024))  # so large that nothing reads it
    assert answer.status_code == 413
    assert "What was sent is too large; expected at most 17 MB." in answer.content.decode()


def test_refused_rows_are_shown_and_nothing_can_be_brought(owners: Client) -> None:
    at = _send(owners, CARS.encode() + b"bad;Halden;Brise;2015\n")["Location"]
    owners.post(at, MATCHED)
    _work()
    shown = owners.get(f"{at}?fate=refused").content.decode()
    assert "A VIN has 17 characters; this one has 3." in shown
    assert shown.count('<td class="mono"') == 1
    assert "Bring all rows" not in shown
    owners.post(f"{at}bring/")
    _work()
    assert TaskRun.objects.filter(state=RunState.FAILED, words__startswith="1 rows are refused").exists()
    assert not Car.objects.exists()


def test_it_is_not_brought_before_it_was_looked_at(owners: Client) -> None:
    at = _send(owners, CARS.encode())["Location"]
    assert owners.post(f"{at}bring/").status_code == 409
    assert not TaskRun.objects.exists()


@pytest.mark.parametrize(
    ("data", "words"), [(b"", "empty"), (b"PK\x03\x04", "damaged"), (b"\xd0\xcf\x11\xe0\xa1", "old XLS format")]
)
def test_what_is_no_table_is_refused_and_not_kept(owners: Client, settings: Any, data: bytes, words: str) -> None:
    answer = _send(owners, data)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not ImportedFile.objects.exists()
    assert not [path for path in Path(settings.MEDIA_ROOT).rglob("*") if path.is_file()]


def test_without_a_file_it_says_so(owners: Client) -> None:
    answer = owners.post("/records/", {})
    assert answer.status_code == 422
    assert "Choose a file" in answer.content.decode()


def test_a_matching_that_cannot_be_comes_back_with_one_sentence(owners: Client) -> None:
    at = _send(owners, CARS.encode())["Location"]
    answer = owners.post(at, MATCHED | {"field-maker": ""})
    assert answer.status_code == 422
    assert "No column is matched to: maker" in answer.content.decode()
    assert owners.post(at, MATCHED | {"field-maker": "VIN"}).status_code == 422
    assert owners.post(at, MATCHED | {"kind": "boats"}).status_code == 422
    assert owners.post(at, MATCHED | {"order": "ydm"}).status_code == 422


def test_another_kind_shows_its_columns(owners: Client) -> None:
    at = _send(owners, b"FIN;Was;Datum\n1;2;3\n")["Location"]
    assert "Look at every row" not in owners.get(at).content.decode()
    assert "Reference (its number in the old records)" in owners.get(f"{at}?kind=jobs").content.decode()


def test_long_tables_come_in_pages(owners: Client, owner: User) -> None:
    rows = "".join(f"0TWAH5903RT{number:06d};Halden;Brise;2015\n" for number in range(250))
    at = _send(owners, CARS.splitlines()[0].encode() + b"\n" + rows.encode())["Location"]
    owners.post(at, MATCHED)
    _work()
    assert owners.get(at).content.decode().count("<tr><th") == 100 + 5 + 1 + 1  # rows, first rows, two headings
    last = owners.get(f"{at}?page=3").content.decode()
    assert "0TWAH5903RT000249" in last
    assert "Later rows" not in last


def test_a_run_that_was_called_off_leaves_everything(owner: User) -> None:
    row = judged_import(owner)
    run = import_ask(row=row, by=owner, dry_run=False)
    run_cancel(run=run, by=owner)
    records_import_task(str(run.pk), row.pk, False)
    row.refresh_from_db()
    assert row.state == ImportState.JUDGED
    assert not Car.objects.exists()


def test_asking_twice_is_one_run(owner: User) -> None:
    row = sent_in(owner, CARS)
    assert import_ask(row=row, by=owner, dry_run=True) == import_ask(row=row, by=owner, dry_run=True)
    assert TaskRun.objects.count() == 1


def test_a_file_that_nobody_brought_goes_after_seven_days(owner: User, django_capture_on_commit_callbacks: Any) -> None:
    row, fresh = judged_import(owner), sent_in(owner, CARS)
    ImportedFile.objects.filter(pk=row.pk).update(at=timezone.now() - dt.timedelta(days=7, minutes=1))
    kept = [Path(row.file.path), Path(row.fates_file.path)]
    with django_capture_on_commit_callbacks(execute=True):
        assert files_tidy() == 1
    assert not any(path.exists() for path in kept)
    assert ImportedFile.objects.get(pk=row.pk).state == ImportState.DROPPED
    assert Path(ImportedFile.objects.get(pk=fresh.pk).file.path).exists()


def test_a_dropped_file_is_gone(owners: Client, owner: User, django_capture_on_commit_callbacks: Any) -> None:
    row = sent_in(owner, CARS)
    kept = Path(row.file.path)
    with django_capture_on_commit_callbacks(execute=True):
        assert owners.post(f"/records/{row.pk}/drop/").status_code == 302
    assert not kept.exists()
    assert owners.get(row.get_absolute_url()).status_code == 200
    assert owners.post(row.get_absolute_url(), MATCHED).status_code == 409


def test_the_name_of_a_file_goes_nowhere(owners: Client) -> None:
    _send(owners, CARS.encode(), "../../<b>evil.csv")
    row = ImportedFile.objects.get()
    assert "evil" not in row.file.name
    assert "<b>evil" not in owners.get("/records/").content.decode()
