"""Many certificates at once: each by itself, none twice, what fails is named, and it can be called off between two."""

import datetime as dt
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from diagnostics import services as bench
from diagnostics.models import BenchSheet
from reports import services as certificates
from reports.batch import services as batches
from reports.batch.selectors import batch_shown, jobs_to_issue
from reports.batch.services import JOBS_AT_MOST, batch_ask
from reports.models import BatchItem, Certificate, CertificateBatch, CertificateState, ItemState
from reports.tasks import certificate_batch_task
from shop import services
from shop.errors import Refused, ShopError
from shop.models import Car, Job, RunState, TaskRun, User
from shop.runs import run_cancel
from shop.vin import check_digit
from tests.diagnostics.bench import words
from tests.reports.test_services import ask_and_issue

Make = Callable[[int], list[Job]]


@pytest.fixture
def make(sheet: BenchSheet, tech: User, counter: User) -> Make:
    """That many jobs, each on a car of its own, in which the battery was read."""

    def made(count: int) -> list[Job]:
        jobs = []
        for at in range(count):
            raw = f"0TWAH59{0}3RT{Car.objects.count() + 1:06d}"
            vin = raw[:8] + check_digit(raw) + raw[9:]
            car = services.car_create(
                by=counter, vin=vin, maker="Halden", model="Brise", made_on=dt.date(2014, 6, 1), system="rht-trio"
            )
            job = services.job_open(car=car, by=counter, title=f"Service {at}")
            look_at(bench.sheet_open(job=job, by=tech), tech)
            jobs.append(job)
        return jobs

    return made


def look_at(sheet: BenchSheet, by: User, volts: float = 12.6) -> None:
    bench.check_add(sheet=sheet, by=by, observation={"check": "battery", "volts": volts}, entry_id=uuid.uuid4())


def strike(job: Job, by: User) -> None:
    bench.check_strike(check=BenchSheet.objects.get(job=job).checks.earliest("pk"), by=by, why="wrong car")


def ask(jobs: list[Job], by: User, key: uuid.UUID | None = None) -> CertificateBatch:
    return batch_ask(jobs=[job.pk for job in jobs], key=key or uuid.uuid4(), by=by)


def work(batch: CertificateBatch) -> CertificateBatch:
    """As the worker does it."""
    certificate_batch_task(str(batch.run_id), batch.pk)
    return CertificateBatch.objects.select_related("run").get(pk=batch.pk)


def states(batch: CertificateBatch) -> list[str]:
    return list(batch.items.order_by("number").values_list("state", flat=True))


def run_of(batch: CertificateBatch) -> TaskRun:
    return TaskRun.objects.get(pk=batch.run_id)


def test_each_job_gets_the_certificate_that_its_own_page_would_give(make: Make, tech: User) -> None:
    jobs = make(3)
    batch = work(ask(jobs, tech))
    assert states(batch) == [ItemState.ISSUED] * 3
    issued = [item.certificate for item in batch.items.order_by("number")]
    assert [one.job_id for one in issued if one] == [job.pk for job in jobs]
    for one, job in zip(issued, jobs, strict=True):
        assert one is not None
        assert (one.state, one.asked_by) == (CertificateState.ISSUED, tech)
        assert one.run is not None
        assert one.run.state == RunState.DONE
        assert ask_and_issue(job, tech) == one  # nothing has changed: its page gives the same
    run = run_of(batch)
    assert (run.state, run.done, run.total, run.result_url) == (RunState.DONE, 3, 3, batch.get_absolute_url())
    assert run.words == "Issued: 3. Unchanged: 0. Not issued: 0."


def test_one_that_fails_is_named_and_the_others_are_issued(
    make: Make, tech: User, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    first, without, broken, last = make(4)
    strike(without, tech)
    real = certificates.paper

    def paper(content: Any, pictures: Any) -> Any:
        if content.job.startswith(broken.number):
            raise RuntimeError("no ink")
        return real(content, pictures)

    monkeypatch.setattr(certificates, "paper", paper)
    batch = work(ask([first, without, broken, last], tech))
    assert states(batch) == [ItemState.ISSUED, ItemState.FAILED, ItemState.FAILED, ItemState.ISSUED]
    said = list(batch.items.order_by("number").values_list("words", flat=True))
    assert f"Nothing has been inspected in {without.number} yet" in said[1]
    assert "The certificate could not be made. Ask for it again" in said[2]
    assert "no ink" in caplog.text
    assert run_of(batch).state == RunState.DONE
    assert run_of(batch).words == "Issued: 2. Unchanged: 0. Not issued: 2."
    monkeypatch.setattr(certificates, "paper", real)
    again = work(ask([broken], tech))
    assert states(again) == [ItemState.ISSUED]
    assert Certificate.objects.filter(job=broken).count() == 1


def test_an_error_in_the_middle_that_nobody_foresaw_leaves_nothing_half_written(
    make: Make, tech: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half way through freezing: neither certificate, nor run, nor trail of that job."""
    first, second, third = make(3)
    real = certificates.trail_record

    def trail(**told: Any) -> Any:
        if told.get("job") == second:
            raise RuntimeError("the disk is full")
        return real(**told)

    monkeypatch.setattr(certificates, "trail_record", trail)
    batch = work(ask([first, second, third], tech))
    assert states(batch) == [ItemState.ISSUED, ItemState.FAILED, ItemState.ISSUED]
    assert not Certificate.objects.filter(job=second).exists()
    assert not TaskRun.objects.filter(job=second).exists()


def test_called_off_half_way_what_is_issued_stands_and_the_rest_is_not_begun(
    make: Make, tech: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    jobs = make(3)
    batch = ask(jobs, tech)
    real = batches.certificate_freeze

    def freeze(*, job: Job, by: User) -> Any:
        if job == jobs[1]:
            run_cancel(run=run_of(batch), by=tech)
        return real(job=job, by=by)

    monkeypatch.setattr(batches, "certificate_freeze", freeze)
    batch = work(batch)
    assert states(batch) == [ItemState.ISSUED, ItemState.ISSUED, ItemState.WAITING]
    assert run_of(batch).state == RunState.CANCELLED
    assert Certificate.objects.filter(job=jobs[2]).count() == 0
    shown = batch_shown(CertificateBatch.objects.select_related("run").get())
    assert [item.job for item in shown.again] == [jobs[2]]
    work(batch)  # the message comes once more: it stays called off
    assert Certificate.objects.filter(job=jobs[2]).count() == 0


def test_called_off_before_it_begins_issues_nothing(make: Make, tech: User) -> None:
    batch = ask(make(1), tech)
    run_cancel(run=run_of(batch), by=tech)
    assert states(work(batch)) == [ItemState.WAITING]
    assert Certificate.objects.count() == 0


def test_the_same_form_sent_twice_is_one_batch(make: Make, tech: User) -> None:
    jobs, key = make(2), uuid.uuid4()
    first = ask(jobs, tech, key)
    assert ask(jobs, tech, key) == first
    assert (CertificateBatch.objects.count(), BatchItem.objects.count()) == (1, 2)
    assert TaskRun.objects.filter(kind="certificates").count() == 1


def test_the_same_jobs_in_two_batches_and_a_message_twice_issue_once(make: Make, tech: User, owner: User) -> None:
    jobs = make(2)
    one, other = ask(jobs, tech), ask(jobs, owner)
    work(one)
    before = list(Certificate.objects.order_by("pk").values_list("number", "sha256", "issued_at"))
    work(one)
    assert states(work(other)) == [ItemState.UNCHANGED] * 2
    assert states(one) == [ItemState.ISSUED] * 2
    assert list(Certificate.objects.order_by("pk").values_list("number", "sha256", "issued_at")) == before


def test_what_a_lost_worker_left_is_taken_up(make: Make, tech: User) -> None:
    """It had issued the first and frozen the second."""
    first, second = make(2)
    batch = ask([first, second], tech)
    TaskRun.objects.filter(pk=batch.run_id).update(state=RunState.RUNNING, started_at=timezone.now())
    made = ask_and_issue(first, tech)
    batch.items.filter(job=first).update(state=ItemState.ISSUED, certificate=made)
    frozen, _run = certificates.certificate_freeze(job=second, by=tech)
    assert states(work(batch)) == [ItemState.ISSUED] * 2
    frozen.refresh_from_db()
    assert frozen.state == CertificateState.ISSUED
    assert Certificate.objects.count() == 2


def test_what_failed_is_not_tried_again_behind_the_back_of_who_was_told_so(make: Make, tech: User) -> None:
    """The message comes again after the cause is gone: what the page says stays true until somebody asks anew."""
    job, other = make(2)
    batch = ask([job, other], tech)
    batch.items.filter(job=job).update(state=ItemState.FAILED, words="No ink.")
    TaskRun.objects.filter(pk=batch.run_id).update(state=RunState.RUNNING, started_at=timezone.now())
    assert states(work(batch)) == [ItemState.FAILED, ItemState.ISSUED]
    assert not Certificate.objects.filter(job=job).exists()


def test_the_first_outcome_of_two_workers_stays(make: Make, tech: User) -> None:
    """The second one read the item as waiting before the first had issued it."""
    (job,) = make(1)
    batch = ask([job], tech)
    late = batch.items.get()
    work(batch)
    batches._issue(late, tech)
    assert (late.state, states(batch)) == (ItemState.ISSUED, [ItemState.ISSUED])


def test_another_content_of_the_job_that_is_just_being_issued_is_said(make: Make, tech: User) -> None:
    (job,) = make(1)
    certificates.certificate_freeze(job=job, by=tech)
    look_at(BenchSheet.objects.get(job=job), tech, volts=12.2)
    batch = work(ask([job], tech))
    assert "is just being issued" in batch.items.get().words


def test_what_cannot_be_asked_for(make: Make, tech: User, counter: User) -> None:
    (job,) = make(1)
    with pytest.raises(Refused):
        ask([job], counter)
    with pytest.raises(ShopError, match="tick at least one"):
        ask([], tech)
    with pytest.raises(ShopError, match="is not there"):
        batch_ask(jobs=[job.pk, 999_999], key=uuid.uuid4(), by=tech)
    with pytest.raises(ShopError, match=f"at most {JOBS_AT_MOST}"):
        batch_ask(jobs=list(range(1, JOBS_AT_MOST + 2)), key=uuid.uuid4(), by=tech)
    assert CertificateBatch.objects.count() == 0
    twice = batch_ask(jobs=[job.pk, job.pk], key=uuid.uuid4(), by=tech)
    assert twice.items.count() == 1


def test_somebody_who_lost_the_right_meanwhile_issues_nothing(make: Make, tech: User) -> None:
    batch = ask(make(1), tech)
    User.objects.filter(pk=tech.pk).update(role="counter")
    item = work(batch).items.get()
    assert (item.state, item.words) == (
        ItemState.FAILED,
        "Your role does not allow this. Ask the owner of the shop.",
    )


def test_the_list_has_what_has_no_certificate_or_an_older_one(make: Make, tech: User, counter: User) -> None:
    issued, changed, struck, worked, waiting, none = make(6)
    bare = services.job_open(car=none.car, by=counter, title="Nobody looked")
    bench.check_add(
        sheet=BenchSheet.objects.get(job=struck), by=tech, entry_id=uuid.uuid4(),
        observation={"check": "look", "position": "MM3", "found": "nothing"},
    )  # fmt: skip
    for job in (issued, changed, struck, worked):
        ask_and_issue(job, tech)
    certificates.certificate_freeze(job=waiting, by=tech)
    look_at(BenchSheet.objects.get(job=changed), tech, volts=12.2)
    strike(struck, tech)
    bench.work_add(job=worked, by=tech, position="BG3", kind="adjust")
    found = {job.pk: job.current for job in jobs_to_issue()}  # type: ignore[attr-defined]
    assert set(found) == {changed.pk, struck.pk, worked.pk, none.pk}
    assert found[none.pk] is None
    assert found[changed.pk] == Certificate.objects.get(job=changed).number
    assert bare.pk not in found
    services.odometer_add(car=issued.car, by=tech, km=9, read_on=timezone.localdate())
    assert issued.pk in {job.pk for job in jobs_to_issue()}


def test_a_withdrawn_one_can_be_issued_again_and_a_struck_job_not(make: Make, tech: User, owner: User) -> None:
    withdrawn, struck = make(2)
    certificates.certificate_withdraw(certificate=ask_and_issue(withdrawn, tech), reason="wrong car", by=owner)
    strike(struck, tech)
    assert [job.pk for job in jobs_to_issue()] == [withdrawn.pk]


@pytest.mark.parametrize("said", ["number", "vin", "title"])
def test_the_list_is_narrowed_by_what_one_types(make: Make, said: str) -> None:
    one, _other = make(2)
    typed = {"number": one.number, "vin": one.car.vin, "title": "service 0"}[said]
    assert jobs_to_issue(typed) == [one]
    assert jobs_to_issue("no such thing \0 %") == []


def test_ticked_issued_and_shown(
    make: Make, tech: User, client_as: Callable[[str], Client], issued_at_once: Any
) -> None:
    """From the list to the numbers, as a person goes."""
    jobs = make(2)
    client = client_as("technician")
    assert "/certificates/batch/" in client.get("/certificates/").content.decode()
    page = client.get(f"/certificates/batch/?job={jobs[0].pk}").content.decode()
    assert page.count('name="job"') == 2
    assert page.count(" checked>") == 1
    key = page.partition('name="key" value="')[2].partition('"')[0]
    with issued_at_once:
        sent = client.post("/certificates/batch/", {"job": [job.pk for job in jobs], "key": key})
    batch = CertificateBatch.objects.get()
    assert sent["Location"] == batch.get_absolute_url()
    shown = words(client.get(batch.get_absolute_url()))
    for one in Certificate.objects.all():
        assert one.number in shown
        assert f'href="{one.get_absolute_url()}"' in client.get(batch.get_absolute_url()).content.decode()
    assert "Issued: 2. Unchanged: 0. Not issued: 0." in shown
    assert "hx-trigger" not in client.get(batch.get_absolute_url(), headers={"HX-Request": "true"}).content.decode()
    assert "has the certificate that says so" in words(client.get("/certificates/batch/"))
    again = client.post("/certificates/batch/", {"job": [job.pk for job in jobs], "key": key})
    assert again["Location"] == batch.get_absolute_url()
    assert Certificate.objects.count() == 2


def test_a_batch_on_its_way_and_called_off_says_so(make: Make, client_as: Callable[[str], Client], tech: User) -> None:
    jobs = make(2)
    batch = ask(jobs, tech)
    client = client_as("technician")
    page = client.get(batch.get_absolute_url()).content.decode()
    assert 'hx-trigger="every 1s"' in page
    assert page.count(">Waits<") == 2
    client.post(f"/runs/{batch.run_id}/cancel/")
    page = client.get(batch.get_absolute_url()).content.decode()
    assert page.count(">Not begun<") == 2
    assert f"/certificates/batch/?job={jobs[0].pk}&amp;job={jobs[1].pk}" in page
    run = words(client.get(f"/runs/{batch.run_id}/"))
    assert "What was done before stands." in run
    assert "Nothing was kept of it" not in run


def test_a_form_that_is_not_right_keeps_what_was_ticked(make: Make, client_as: Callable[[str], Client]) -> None:
    (job,) = make(1)
    client = client_as("owner")
    for data, said in (
        ({"key": str(uuid.uuid4())}, "tick at least one"),
        ({"job": "x", "key": str(uuid.uuid4())}, "tick at least one"),
        ({"job": str(job.pk), "key": "no key"}, "Load the page again"),
        ({"job": [str(job.pk), "9" * 18], "key": str(uuid.uuid4())}, "is not there"),
    ):
        refused = client.post("/certificates/batch/", data)
        assert refused.status_code == 422
        assert said in words(refused)
        assert (" checked>" in refused.content.decode()) is (str(job.pk) in data.get("job", []))
    assert CertificateBatch.objects.count() == 0


def test_queries_do_not_grow_with_the_jobs(make: Make, tech: User, client_as: Callable[[str], Client]) -> None:
    client = client_as("owner")

    def asked(path: str) -> int:
        client.get(path)
        with CaptureQueriesContext(connection) as queries:
            client.get(path)
        return len(queries)

    first = work(ask(make(1), tech))
    make(1)
    few = asked("/certificates/batch/"), asked(first.get_absolute_url())
    later = work(ask(make(3), tech))
    make(3)
    assert (asked("/certificates/batch/"), asked(later.get_absolute_url())) == few


@pytest.mark.parametrize(
    "wrong",
    [
        {"state": "issued"}, {"state": "failed"}, {"state": "gone"}, {"words": "why"},
    ],
)  # fmt: skip
def test_the_database_keeps_items_that_say_what_became_of_them(make: Make, tech: User, wrong: dict[str, str]) -> None:
    batch = ask(make(1), tech)
    with pytest.raises(IntegrityError), transaction.atomic():
        batch.items.update(**wrong)
