"""A worker in another process does what the web server asks for, once, on both brokers and both databases."""

import os
import threading
import uuid
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection, connections

from diagnostics import services as bench
from diagnostics.models import BenchSheet, Check
from reports.batch.services import batch_ask
from reports.models import Certificate, CertificateBatch, CertificateState, ItemState
from reports.services import certificate_ask
from reports.tasks import certificate_batch_task, certificate_issue_task
from shop.errors import Conflict
from shop.models import Job, RunState, TaskRun, User
from shop.services import job_open

Wait = Callable[[Callable[[], bool]], None]


def test_this_run_is_on_what_it_was_asked_for(db: None) -> None:
    """A run that was to be on the services and quietly fell back to the default would prove nothing of them."""
    on_services = os.environ.get("TOPWRIGHT_EXPECT") == "services"
    postgres = on_services or os.environ.get("DATABASE_URL", "").startswith("postgres")
    redis = on_services or bool(os.environ.get("REDIS_URL"))
    assert connection.vendor == ("postgresql" if postgres else "sqlite")
    assert settings.CELERY_BROKER_URL.split("://")[0] == ("redis" if redis else "filesystem")


def _state(certificate: Certificate) -> str:
    return Certificate.objects.values_list("state", flat=True).get(pk=certificate.pk)


def test_worker_issues_the_certificate(checked: Job, tech: User, wait_for: Wait) -> None:
    certificate, run = certificate_ask(job=checked, by=tech)
    assert run is not None
    wait_for(lambda: _state(certificate) == CertificateState.ISSUED)
    wait_for(lambda: type(run).objects.get(pk=run.pk).state == RunState.DONE)
    certificate.refresh_from_db()
    run.refresh_from_db()
    assert (run.done, run.result_url) == (run.total, certificate.get_absolute_url())
    assert sha256(Path(certificate.file.path).read_bytes()).hexdigest() == certificate.sha256


def test_message_delivered_twice_issues_once(checked: Job, tech: User, wait_for: Wait) -> None:
    certificate, run = certificate_ask(job=checked, by=tech)
    assert run is not None
    wait_for(lambda: type(run).objects.get(pk=run.pk).state == RunState.DONE)
    certificate.refresh_from_db()
    first = (certificate.sha256, certificate.issued_at, Path(certificate.file.path).stat().st_mtime_ns)
    other, later = certificate_ask(job=checked, by=tech)
    assert (other.pk, later and later.pk) == (certificate.pk, run.pk)
    certificate_issue_task.delay(str(run.pk), certificate.pk)
    marker, marker_run = certificate_ask(job=_changed(checked, tech), by=tech)
    wait_for(lambda: _state(marker) == CertificateState.ISSUED)  # queued later, so the doubled message is through
    assert marker_run is not None
    certificate.refresh_from_db()
    assert (certificate.sha256, certificate.issued_at, Path(certificate.file.path).stat().st_mtime_ns) == first


def test_worker_works_through_a_batch_that_is_sent_twice(
    checked: Job, counter: User, tech: User, wait_for: Wait
) -> None:
    """One job with checks, one without: the one is issued, the other named."""
    bare = job_open(car=checked.car, by=counter, title="Nobody looked")
    key = uuid.uuid4()
    batch = batch_ask(jobs=[bare.pk, checked.pk], key=key, by=tech)
    assert batch_ask(jobs=[bare.pk, checked.pk], key=key, by=tech) == batch
    certificate_batch_task.delay(str(batch.run_id), batch.pk)
    wait_for(lambda: TaskRun.objects.get(pk=batch.run_id).state == RunState.DONE)
    failed, issued = batch.items.select_related("certificate").order_by("number")
    assert (failed.state, issued.state) == (ItemState.FAILED, ItemState.ISSUED)
    assert "Nothing has been inspected" in failed.words
    assert issued.certificate is not None
    assert issued.certificate.state == CertificateState.ISSUED
    assert Certificate.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_one_form_sent_by_many_lines_is_one_batch(checked: Job, tech: User) -> None:
    key = uuid.uuid4()
    outcomes = _together(6, lambda _: batch_ask(jobs=[checked.pk], key=key, by=tech))
    assert {one.pk for one in outcomes if isinstance(one, CertificateBatch)} == {CertificateBatch.objects.get().pk}
    assert all(isinstance(one, CertificateBatch) for one in outcomes), outcomes
    assert TaskRun.objects.filter(kind="certificates").count() == 1


def _changed(job: Job, tech: User) -> Job:
    observation = {"check": "look", "position": "MM4", "found": "nothing"}
    bench.check_add(sheet=job.sheets.get(), by=tech, observation=observation, entry_id=uuid.uuid4())
    return job


def _together(count: int, act: Callable[[int], object]) -> list[object]:
    """Run `act` in threads that start at once; returns what each returned or raised."""
    start, results = threading.Barrier(count), [None] * count

    def one(index: int) -> None:
        try:
            start.wait()
            results[index] = act(index)
        except Exception as error:
            results[index] = error
        finally:
            connections.close_all()

    threads = [threading.Thread(target=one, args=(index,)) for index in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return list(results)


@pytest.mark.django_db(transaction=True)
def test_second_sheet_on_one_car_loses_the_race(job: Job, tech: User) -> None:
    outcomes = _together(6, lambda _: bench.sheet_open(job=job, by=tech))
    opened = [one for one in outcomes if isinstance(one, BenchSheet)]
    refused = [one for one in outcomes if isinstance(one, Conflict)]
    assert (len(opened), len(refused)) == (1, 5), outcomes
    assert BenchSheet.objects.filter(car=job.car, closed_at=None).count() == 1


@pytest.mark.django_db(transaction=True)
def test_one_entry_sent_by_many_lines_is_kept_once(sheet: BenchSheet, tech: User) -> None:
    entry = uuid.uuid4()
    observation = {"check": "pin", "position": "BG3", "pose": "closed", "volts": 0.05, "supply_volts": 12.4}
    outcomes = _together(6, lambda _: bench.check_add(sheet=sheet, by=tech, observation=observation, entry_id=entry))
    assert {one.pk for one in outcomes if isinstance(one, Check)} == {Check.objects.get().pk}, outcomes
    assert all(isinstance(one, Check) for one in outcomes), outcomes
