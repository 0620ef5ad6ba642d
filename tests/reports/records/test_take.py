"""Taking the records along: the zip says what the books say, holds no secret, and can be brought again."""

import csv
import datetime as dt
import io
import json
import zipfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from diagnostics.models import Unit
from reports import take
from reports.models import Certificate
from reports.take.plan import LEFT_OUT, exported
from reports.tasks import records_export_task
from shop import services
from shop.errors import Refused
from shop.models import Car, Customer, Job, OdometerReading, Picture, RunState, Stage, TaskRun, TrailEntry, User
from shop.runs import run_cancel
from shop.services.owners import owner_change
from tests.conftest import PASSWORD
from tests.reports.records.conftest import Bring
from tests.reports.test_services import ask_and_issue
from tests.shop.estimating import sent

pytestmark = pytest.mark.django_db


def _taken(tmp_path: Path) -> zipfile.ZipFile:
    with (tmp_path / "all.zip").open("wb") as out:
        take.export_write(out)
    return zipfile.ZipFile(tmp_path / "all.zip")


def _csv(archive: zipfile.ZipFile, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(archive.read(f"{name}.csv").decode(), newline="")))


def _picture(job: Job, by: User) -> Picture:
    picture = Picture(job=job, by=by, width=8, height=8, at=timezone.now())
    picture.file.save("one.jpg", ContentFile(b"picture of " + str(job.pk).encode()))
    return picture


@pytest.fixture
def books(car: Car, checked: Job, tech: User) -> Certificate:
    """A car with a job, checks, a certificate and a picture."""
    OdometerReading.objects.create(car=car, km=84_000, read_on=timezone.localdate(checked.opened_at), entered_by=tech)
    Unit.objects.create(car=car, position="BG3", part="TW-BGB-3121", fitted_on=dt.date(2020, 5, 1))
    _picture(checked, tech)
    return ask_and_issue(checked, tech)


def test_every_row_and_value_of_every_table_is_there(books: Certificate, tmp_path: Path) -> None:
    with _taken(tmp_path) as archive:
        manifest = json.loads(archive.read("manifest.json"))
        rows_seen = 0
        for one in exported():
            lines = [json.loads(line) for line in archive.read(f"{one.name}.jsonl").splitlines()]
            plain = _csv(archive, one.name)
            there = list(one.model._base_manager.order_by("pk").values(*one.columns))
            assert len(lines) == len(plain) == len(there)
            assert manifest["entries"][f"{one.name}.csv"]["rows"] == len(there)
            for line, cells, row in zip(lines, plain, there, strict=True):
                rows_seen += 1
                assert list(line) == list(cells) == list(one.columns)
                for name, value in row.items():
                    if isinstance(value, str | int | float | bool | list | dict | None):
                        assert line[name] == value
                    elif isinstance(value, dt.datetime):
                        assert dt.datetime.fromisoformat(line[name]) == value
                    else:
                        assert line[name] == str(value)
                    if isinstance(value, str):
                        assert cells[name] == value
        assert rows_seen > 20


def test_the_manifest_has_the_digest_of_every_entry(books: Certificate, tmp_path: Path) -> None:
    with _taken(tmp_path) as archive:
        manifest = json.loads(archive.read("manifest.json"))
        assert set(manifest["entries"]) == set(archive.namelist()) - {"manifest.json"}
        for name, said in manifest["entries"].items():
            assert said["sha256"] == sha256(archive.read(name)).hexdigest(), name
            assert said["bytes"] == archive.getinfo(name).file_size
        assert manifest["missing"] == []
        assert archive.read(f"files/{books.file.name}").startswith(b"%PDF")
        assert archive.read(f"files/{Picture.objects.get().file.name}").startswith(b"picture of")


def test_a_file_that_is_gone_is_told(books: Certificate, tmp_path: Path) -> None:
    Path(Picture.objects.get().file.path).unlink()
    with _taken(tmp_path) as archive:
        assert json.loads(archive.read("manifest.json"))["missing"] == [Picture.objects.get().file.name]


def test_the_readme_tells_every_file_and_column(books: Certificate, tmp_path: Path) -> None:
    with _taken(tmp_path) as archive:
        readme = archive.read("README.txt").decode()
        for one in exported():
            block = readme.split(f"{one.name}.csv, {one.name}.jsonl")[1]
            for column in one.columns:
                assert f"\n    {column}: " in block
        assert "car_id: the id of a row of shop/car" in readme
        assert "hot (Hot)" in readme


def test_no_secret_goes_along(books: Certificate, tech: User, tmp_path: Path) -> None:
    for one in exported():
        assert one.model.__name__ not in LEFT_OUT
        for column in one.columns:
            open_name = column.replace("sha256", "")
            assert not any(part in open_name for part in ("password", "secret", "hash", "token", "recovery")), column
    with _taken(tmp_path) as archive:
        everything = b"".join(archive.read(name) for name in archive.namelist())
    assert tech.password.encode() not in everything
    assert PASSWORD.encode() not in everything


def test_it_can_be_brought_into_an_empty_shop(
    books: Certificate, car: Car, bring: Bring, owner: User, tmp_path: Path
) -> None:
    services.car_create(
        by=owner, vin="0TWAH5903RT000044", maker="Halden", model="Küste", made_on=dt.date(2015, 3, 1), year_only=True,
        known_from=dt.date(2019, 4, 5),
    )  # fmt: skip
    with _taken(tmp_path) as archive:
        cars, jobs, fitted = (archive.read(f"again/{name}.csv").decode() for name in ("cars", "jobs", "fitted"))
    again = {fate.fate for table in (cars, fitted) for fate in bring(table).fates}
    assert again == {"same"}
    was_cars = _facts()
    was_jobs = list(Job.objects.values_list("car__vin", "title", "complaint", "opened_at"))
    _empty()
    assert {fate.fate for table in (cars, jobs, fitted) for fate in bring(table).fates} == {"new"}
    assert _facts() == was_cars
    assert list(Job.objects.values_list("car__vin", "title", "complaint", "opened_at")) == was_jobs
    assert OdometerReading.objects.get().km == 84_000
    assert Unit.objects.get().part == "TW-BGB-3121"


def _facts() -> list[tuple[Any, ...]]:
    names = ("vin", "plate", "maker", "model", "made_on", "year_only", "known_from", "climate", "system", "owner__name")
    return list(Car.objects.order_by("vin").values_list(*names, "owner__phone"))


def _empty() -> None:
    """A shop with the same people and no books."""
    from diagnostics.models import BenchSheet, Check, Sighting, Work

    TrailEntry._base_manager.all()._raw_delete(using="default")
    for model in (Sighting, Check, Work, BenchSheet, Unit, Certificate, Picture):
        model.objects.all().delete()
    TaskRun.objects.all().delete()
    for model in (Job, Car, Customer):
        model.objects.all().delete()


def test_the_command_writes_it(books: Certificate, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call_command("export", tmp_path / "x.zip")
    assert "entries" in capsys.readouterr().out
    assert zipfile.ZipFile(tmp_path / "x.zip").testzip() is None
    assert not (tmp_path / "x.zip.part").exists()
    with pytest.raises(CommandError, match="cannot be written") as caught:
        call_command("export", tmp_path / "nowhere" / "x.zip")
    assert caught.value.returncode == 2


@pytest.mark.django_db(transaction=True)
def test_from_the_page_to_the_file(client_as: Callable[[str], Client], car: Car, owner: User) -> None:
    client = client_as("owner")
    run = take.export_ask(by=owner)
    assert take.export_ask(by=owner) == run
    TaskRun.objects.filter(pk=run.pk).update(state=RunState.QUEUED)
    records_export_task(str(run.pk))
    run.refresh_from_db()
    assert (run.state, run.words != "", run.done) == (RunState.DONE, False, run.total)
    assert run.result_url in client.get("/records/").content.decode()
    answer = client.get(run.result_url)
    data = b"".join(answer.streaming_content)  # type: ignore[attr-defined]
    assert car.vin in zipfile.ZipFile(io.BytesIO(data)).read("shop/car.csv").decode()
    assert client_as("counter").get(run.result_url).status_code == 403


@pytest.mark.django_db(transaction=True)
def test_called_off_it_leaves_no_file(owner: User, settings: Any) -> None:
    run = take.export_ask(by=owner)
    TaskRun.objects.filter(pk=run.pk).update(state=RunState.RUNNING)
    run.refresh_from_db()
    run_cancel(run=run, by=owner)
    TaskRun.objects.filter(pk=run.pk).update(state=RunState.QUEUED)  # a worker that took it before
    records_export_task(str(run.pk))
    run.refresh_from_db()
    assert run.state == RunState.CANCELLED
    assert not [path for path in (Path(settings.MEDIA_ROOT) / "records").rglob("*") if path.is_file()]


@pytest.mark.django_db(transaction=True)
def test_what_is_written_while_it_reads_is_not_in_it(car: Car, owner: User, tmp_path: Path) -> None:
    """A car that comes while tables are read is in none of them: the books of one moment."""
    from threading import Thread

    from django.db import connection

    def come() -> None:
        Car.objects.create(vin="0TWAH5903RT000055", maker="Halden", model="Brise", made_on=car.made_on)
        connection.close()

    def tell(done: int, _total: int, _words: str) -> None:
        if done == 1:
            thread = Thread(target=come)
            thread.start()
            thread.join()

    with (tmp_path / "all.zip").open("wb") as out:
        take.export_write(out, tell=tell)
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        assert [row["vin"] for row in _csv(archive, "shop/car")] == [car.vin]
        assert len(_csv(archive, "again/cars")) == 1
    assert Car.objects.count() == 2


@pytest.fixture
def handed_on(books: Certificate, car: Car, counter: User, tech: User) -> Job:
    """The car has gone from Ada to Ben, who has a job of his own."""
    job = books.job
    job.complaint = "Ada heard it click"
    job.opened_at = timezone.now() - dt.timedelta(days=400)
    job.stage, job.finished_at = Stage.DONE, timezone.now() - dt.timedelta(days=390)
    job.save()
    version, _token = sent(job, counter)
    answers = {line.pk: "approved" for line in version.lines.all()}
    services.answers_keep(version=version, answers=answers, name="Ada Quill")
    ben = services.customer_create(by=counter, name="Ben Roe", email="ben@post.example")
    owner_change(car=car, to=ben, on=timezone.localdate() - dt.timedelta(days=30), by=counter)
    car.refresh_from_db()
    own = services.job_open(car=car, by=counter, title="Seal", complaint="Ben says it drips")
    _picture(own, tech)
    return own


def test_a_car_goes_with_its_history_and_its_owners_own_jobs(
    client_as: Callable[[str], Client], handed_on: Job, car: Car
) -> None:
    answer = client_as("owner").post(f"/cars/{car.pk}/take/")
    assert answer["Content-Type"] == "application/zip"
    archive = zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))  # type: ignore[attr-defined]
    assert [row["vin"] for row in _csv(archive, "car")] == [car.vin]
    assert [row["number"] for row in _csv(archive, "jobs")] == [handed_on.number]
    assert _csv(archive, "units")[0]["part"] == "TW-BGB-3121"
    assert len(_csv(archive, "checks")) > 0
    everything = b"".join(archive.read(name) for name in archive.namelist()).decode(errors="replace")
    assert "Ben says it drips" in everything
    for other in (
        "Ada",
        "Quill",
        "555 0100",
        "EUR",
        "216.00",
        "41.35",
        "tech",
        "counter",
        "picture of " + str(handed_on.pk - 1),
    ):
        assert other not in everything, other
    assert [name for name in archive.namelist() if name.startswith("files/")] == [
        f"files/{handed_on.pictures.get().file.name}"
    ]
    manifest = json.loads(archive.read("manifest.json"))
    assert manifest["entries"]["jobs.csv"]["rows"] == 1
    assert TrailEntry.objects.filter(kind="records.taken", car=car).count() == 1
    answer.close()


def test_a_car_that_nobody_owns_goes_without_jobs(car: Car, job: Job, owner: User) -> None:
    Car.objects.filter(pk=car.pk).update(owner=None)
    car.refresh_from_db()
    out = io.BytesIO()
    take.car_take(out, car=car, by=owner)
    assert _csv(zipfile.ZipFile(out), "jobs") == []


def test_the_owner_of_the_shop_alone_may_take(car: Car, counter: User) -> None:
    with pytest.raises(Refused):
        take.car_take(io.BytesIO(), car=car, by=counter)
    with pytest.raises(Refused):
        take.export_ask(by=counter)


def test_what_nobody_fetched_is_deleted_after_seven_days(owner: User, settings: Any) -> None:
    import os

    folder = Path(settings.MEDIA_ROOT) / "records" / "taken"
    folder.mkdir(parents=True)
    old, fresh = folder / "old.zip", folder / "fresh.zip"
    for path in (old, fresh):
        path.write_bytes(b"x")
    week = (timezone.now() - dt.timedelta(days=7, minutes=1)).timestamp()
    os.utime(old, (week, week))
    take.exports_tidy()
    assert [path.name for path in folder.iterdir()] == ["fresh.zip"]
