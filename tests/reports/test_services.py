"""Asking for certificates and issuing them: once, from frozen content, repeatable after a failure."""

import json
import uuid
from collections.abc import Callable
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from kombu.exceptions import OperationalError

from diagnostics import services as bench
from diagnostics.models import BenchSheet, Check
from reports import services
from reports.document.content import from_json
from reports.document.numbers import number_holds
from reports.models import Certificate, CertificateState
from reports.tasks import certificate_issue_task
from shop.errors import Conflict, Refused, ShopError
from shop.models import Job, RunState, ShopProfile, TaskRun, TrailEntry, User


def ask_and_issue(job: Job, by: User) -> Certificate:
    certificate, run = services.certificate_freeze(job=job, by=by)
    assert run is not None
    if certificate.state == CertificateState.ISSUING:
        certificate_issue_task(str(run.pk), certificate.pk)
    certificate.refresh_from_db()
    return certificate


def test_issue_keeps_the_file_byte_for_byte(checked: Job, tech: User) -> None:
    made = ask_and_issue(checked, tech)
    assert made.state == CertificateState.ISSUED
    assert number_holds(made.number)
    pdf = Path(made.file.path).read_bytes()
    assert pdf.startswith(b"%PDF-")
    assert sha256(pdf).hexdigest() == made.sha256
    assert made.run is not None
    made.run.refresh_from_db()
    assert (made.run.state, made.run.done, made.run.total) == (RunState.DONE, services.PARTS, services.PARTS)
    assert made.run.result_url == made.get_absolute_url()
    kinds = set(TrailEntry.objects.filter(job=checked, kind__startswith="certificate").values_list("kind", flat=True))
    assert kinds == {"certificate.asked", "certificate.issued"}


def test_stored_content_is_what_the_rows_say(checked: Job, tech: User) -> None:
    content = from_json(json.dumps(ask_and_issue(checked, tech).content))
    assert content.item.vin == checked.car.vin
    assert content.client == "Ada Quill"
    assert [row.position for row in content.results.readings] == ["BG3", "BG8"]
    assert content.overall.statement == "fail"
    assert {one.position for one in content.results.findings} >= {"BG8", ""}
    assert content.issued_at == Certificate.objects.get().issued_at


def test_asking_again_gives_the_same_one(checked: Job, tech: User, owner: User) -> None:
    first = ask_and_issue(checked, tech)
    again = ask_and_issue(checked, owner)
    assert again.pk == first.pk
    assert Certificate.objects.count() == 1
    assert TaskRun.objects.count() == 1


def test_a_change_replaces_the_earlier_one(checked: Job, tech: User, enter: Callable[..., Check]) -> None:
    first = ask_and_issue(checked, tech)
    enter(check="battery", volts=12.6)
    second = ask_and_issue(checked, tech)
    first.refresh_from_db()
    assert (first.state, second.state) == (CertificateState.REPLACED, CertificateState.ISSUED)
    assert second.replaces == first
    assert from_json(json.dumps(second.content)).replaces == first.number
    assert ask_and_issue(checked, tech) == second


def test_going_back_to_an_earlier_state_is_a_new_certificate(
    checked: Job, tech: User, enter: Callable[..., Check]
) -> None:
    """Otherwise a number that was replaced would have to become valid again."""
    first = ask_and_issue(checked, tech)
    title, checked.title = checked.title, "Something else"
    checked.save()
    second = ask_and_issue(checked, tech)
    checked.title = title
    checked.save()
    third = ask_and_issue(checked, tech)
    assert len({first.number, second.number, third.number}) == 3
    assert third.replaces == second


def test_a_second_delivery_changes_nothing(checked: Job, tech: User) -> None:
    made = ask_and_issue(checked, tech)
    before = (made.sha256, made.file.name, TrailEntry.objects.count())
    certificate_issue_task(str(made.run_id), made.pk)
    made.refresh_from_db()
    assert (made.sha256, made.file.name, TrailEntry.objects.count()) == before
    services.certificate_issue(certificate=made, progress=lambda words: None)
    made.refresh_from_db()
    assert (made.sha256, made.file.name, TrailEntry.objects.count()) == before


def test_a_redelivery_takes_up_what_a_lost_worker_left(checked: Job, tech: User) -> None:
    made, run = services.certificate_freeze(job=checked, by=tech)
    assert run is not None
    TaskRun.objects.filter(pk=run.pk).update(state=RunState.RUNNING, started_at=timezone.now())
    certificate_issue_task(str(run.pk), made.pk)
    made.refresh_from_db()
    assert made.state == CertificateState.ISSUED


def test_a_failure_is_said_and_can_be_asked_again(
    checked: Job, tech: User, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(content: Any, pictures: Any) -> Any:
        raise RuntimeError("no ink")

    made, run = services.certificate_freeze(job=checked, by=tech)
    assert run is not None
    with monkeypatch.context() as patch:
        patch.setattr(services, "paper", broken)
        certificate_issue_task(str(run.pk), made.pk)
    run.refresh_from_db()
    made.refresh_from_db()
    assert (run.state, made.state, bool(made.file)) == (RunState.FAILED, CertificateState.ISSUING, False)
    assert "Ask for it again" in run.words
    assert "no ink" in caplog.text
    again = ask_and_issue(checked, tech)
    assert (again.pk, again.number, again.state) == (made.pk, made.number, CertificateState.ISSUED)


def test_a_failed_one_takes_the_newest_content(checked: Job, tech: User, enter: Callable[..., Check]) -> None:
    made, run = services.certificate_freeze(job=checked, by=tech)
    assert run is not None
    TaskRun.objects.filter(pk=run.pk).update(state=RunState.FAILED)
    enter(check="battery", volts=12.6)
    again = ask_and_issue(checked, tech)
    assert again.pk == made.pk
    assert "Battery 12.60 V" in json.dumps(again.content)


def test_a_lost_run_can_be_asked_for_again(checked: Job, tech: User) -> None:
    _made, run = services.certificate_freeze(job=checked, by=tech)
    assert run is not None
    long_ago = timezone.now() - services.LOST_AFTER - timedelta(seconds=1)
    TaskRun.objects.filter(pk=run.pk).update(state=RunState.RUNNING, started_at=long_ago)
    assert ask_and_issue(checked, tech).state == CertificateState.ISSUED
    run.refresh_from_db()
    assert run.state == RunState.FAILED


def test_while_one_is_issued_another_content_waits(checked: Job, tech: User, enter: Callable[..., Check]) -> None:
    made, run = services.certificate_freeze(job=checked, by=tech)
    assert services.certificate_freeze(job=checked, by=tech) == (made, run)
    enter(check="battery", volts=12.6)
    with pytest.raises(Conflict, match="just being issued"):
        services.certificate_freeze(job=checked, by=tech)


def test_nothing_inspected_is_refused(job: Job, sheet: BenchSheet, tech: User, enter: Callable[..., Check]) -> None:
    with pytest.raises(ShopError, match="Nothing has been inspected in J0"):
        services.certificate_ask(job=job, by=tech)
    enter(check="pin", position="BG3", pose="closed", volts=0.05, supply_volts=12.4, ignition=False)
    with pytest.raises(ShopError, match="Nothing has been inspected in J0"):
        services.certificate_ask(job=job, by=tech)
    assert not Certificate.objects.exists()


def test_struck_out_entries_do_not_count_but_are_counted(checked: Job, tech: User, enter: Callable[..., Check]) -> None:
    wrong = enter(check="pin", position="BG4", pose="closed", volts=12.2, supply_volts=12.4)
    bench.check_strike(check=wrong, by=tech, why="Wrong pin")
    content = from_json(json.dumps(ask_and_issue(checked, tech).content))
    assert "BG4" not in {row.position for row in content.results.readings}
    assert content.results.struck_out == 1


def test_only_who_may(checked: Job, counter: User, parts_user: User) -> None:
    for user in (counter, parts_user):
        with pytest.raises(Refused):
            services.certificate_ask(job=checked, by=user)


def test_without_an_issuer_none_is_issued(checked: Job, tech: User) -> None:
    ShopProfile.objects.all().delete()
    with pytest.raises(ShopError, match="name and address"):
        services.certificate_ask(job=checked, by=tech)


def test_work_voids_proof_until_it_is_seen_again(checked: Job, tech: User, enter: Callable[..., Check]) -> None:
    bench.work_add(job=checked, by=tech, position="BG8", kind="replace", part="TW-BGD-3302", serial="77")
    content = from_json(json.dumps(ask_and_issue(checked, tech).content))
    assert [(row.position, row.new_part, row.evidence) for row in content.results.work] == [
        ("BG8", "TW-BGD-3302, serial 77", ())
    ]
    assert any("Worked on, and not proven" in one.words for one in content.results.findings)
    enter(check="pin", position="BG8", pose="open", volts=0.05, supply_volts=12.4)
    enter(check="pin", position="BG8", pose="closed", volts=12.2, supply_volts=12.4)
    content = from_json(json.dumps(ask_and_issue(checked, tech).content))
    row = next(row for row in content.results.proof if row.position == "BG8")
    assert (row.made, row.released, row.reworked) == (True, True, True)
    assert [one.weight for one in content.results.findings if one.subject.startswith("BG8")] == ["put-right"]


def test_a_car_without_a_declared_system(job: Job, shop_profile: ShopProfile, tech: User) -> None:
    sheet = bench.sheet_open(job=job, by=tech)
    assert sheet.revision is None
    observation = {"check": "pin", "connector": "XG1", "row": "A", "number": 3, "volts": 0.1, "supply_volts": 12.4}
    bench.check_add(sheet=sheet, by=tech, observation=observation, entry_id=uuid.uuid4())
    bench.work_add(job=job, by=tech, position="BG7", kind="replace", part="TW-XXX-0001")
    made = ask_and_issue(job, tech)
    content = from_json(json.dumps(made.content))
    assert content.results.open_findings()  # nobody can have proven it; yet nothing is known that it must meet
    assert content.overall.statement == "none"
    assert "XG1/A3" in content.results.observed[0].words
    assert made.pages >= 2


def test_asking_queues_the_task_on_commit(checked: Job, tech: User, issued_at_once: Any) -> None:
    with issued_at_once as callbacks:
        made, _run = services.certificate_ask(job=checked, by=tech)
    assert len(callbacks) == 1
    made.refresh_from_db()
    assert made.state == CertificateState.ISSUED


def test_a_message_that_got_lost_does_not_block_the_job_for_good(
    checked: Job, tech: User, enter: Callable[..., Check]
) -> None:
    """The queue was emptied, or did not answer: the run waits for a worker that will never hear of it."""
    _made, run = services.certificate_freeze(job=checked, by=tech)
    assert run is not None
    enter(check="battery", volts=12.6)
    long_ago = timezone.now() - services.LOST_AFTER - timedelta(seconds=1)
    TaskRun.objects.filter(pk=run.pk).update(queued_at=long_ago)
    again = ask_and_issue(checked, tech)
    assert again.state == CertificateState.ISSUED
    file = again.file.name
    certificate_issue_task(str(run.pk), again.pk)  # the lost message comes after all
    again.refresh_from_db()
    run.refresh_from_db()
    assert (again.file.name, run.state) == (file, RunState.FAILED)


def test_a_queue_that_does_not_answer_is_said(
    checked: Job, tech: User, monkeypatch: pytest.MonkeyPatch, django_capture_on_commit_callbacks: Any
) -> None:
    def unheard(*_args: Any, **_more: Any) -> None:
        raise OperationalError("no connection")

    monkeypatch.setattr(certificate_issue_task, "delay", unheard)
    with django_capture_on_commit_callbacks(execute=True):
        made, run = services.certificate_ask(job=checked, by=tech)
    assert run is not None
    run.refresh_from_db()
    made.refresh_from_db()
    assert (run.state, made.state) == (RunState.FAILED, CertificateState.ISSUING)
    assert "does not answer" in run.words
    assert ask_and_issue(checked, tech).number == made.number


def test_readings_from_before_the_declaration_are_not_left_out_in_silence(
    checked: Job, tech: User, sheet: BenchSheet, enter: Callable[..., Check]
) -> None:
    made = ask_and_issue(checked, tech)
    assert "Earlier readings" not in json.dumps(made.content)
    BenchSheet.objects.filter(pk=sheet.pk).update(revision=None, closed_at=timezone.now())
    later = bench.sheet_open(job=checked, by=tech)
    enter_there = {"check": "battery", "volts": 12.6}
    bench.check_add(sheet=later, by=tech, observation=enter_there, entry_id=uuid.uuid4())
    content = from_json(json.dumps(ask_and_issue(checked, tech).content))
    (row,) = [one for one in content.results.not_tested if one.what == "Earlier readings"]
    assert "4 checks" in row.why
    assert len(content.results.observed) == 1
