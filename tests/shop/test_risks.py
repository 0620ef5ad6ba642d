"""What is known of a car and left undone: declined work, jobs called done against the gate."""

from typing import Any

import pytest
from django.utils import timezone

from shop import gates, services
from shop.models import Answer, Car, EstimateLine, EstimateVersion, Job, LineAnswer, Task, TaskState, User
from shop.selectors import risks_of

pytestmark = pytest.mark.django_db


def _answered(job: Job, by: User, words: str, answer: str, task: Task | None = None) -> None:
    version: EstimateVersion = services.estimate_make(job=job, by=by, from_plan=False)
    line = EstimateLine.objects.create(
        version=version, number=1, kind="labour", words=words, quantity=1, unit="hours", unit_price=765,
        tax_percent=19, task=task,
    )  # fmt: skip
    LineAnswer.objects.create(line=line, answer=answer, name="Ada Quill", at=timezone.now(), text=words)


def test_declined_work_stands_without_its_price_and_without_a_name(
    car: Car, job: Job, counter: User, client_as: Any
) -> None:
    _answered(job, counter, "Replace the hoses", Answer.DECLINED)
    _answered(job, counter, "Replace the seal", Answer.APPROVED)
    assert [one.words for one in risks_of(car).declined] == ["Replace the hoses"]
    page = client_as("technician").get(f"/cars/{car.pk}/risks/").content.decode()
    assert "Replace the hoses" in page
    assert "765" not in page
    assert "Quill" not in page


def test_what_was_wanted_after_all_or_done_all_the_same_is_no_risk(car: Car, job: Job, counter: User) -> None:
    _answered(job, counter, "Replace the hoses", Answer.DECLINED)
    _answered(job, counter, "Replace the hoses", Answer.APPROVED)
    task = Task.objects.create(job=job, number=1, title="Seal", state=TaskState.DONE, ended_at=timezone.now())
    _answered(job, counter, "Replace the seal", Answer.DECLINED, task)
    assert not risks_of(car)
    _answered(job, counter, "Replace the hoses", Answer.DECLINED)
    assert [one.words for one in risks_of(car).declined] == ["Replace the hoses"]


def test_a_job_called_done_without_proof_stays_a_risk_until_it_is_done_with_it(
    car: Car, job: Job, owner: User, monkeypatch: pytest.MonkeyPatch, client_as: Any
) -> None:
    monkeypatch.setattr(gates, "_gates", [lambda _job: ["BG3 was not seen made."]])
    services.job_move(job=job, by=owner, stage="done", why="Customer in a hurry")
    (one,) = risks_of(car).unproven
    assert "BG3 was not seen made." in one.words
    assert "Customer in a hurry" in client_as("parts").get(f"/cars/{car.pk}/risks/").content.decode()
    services.job_move(job=job, by=owner, stage="gone")
    assert len(risks_of(car).unproven) == 1, "handed over, it is still unproven"


def test_a_job_that_was_taken_back_and_proven_is_no_risk(
    car: Car, job: Job, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(gates, "_gates", [lambda _job: ["BG3 was not seen made."]])
    services.job_move(job=job, by=owner, stage="done", why="Hurry")
    services.job_move(job=job, by=owner, stage="proving")
    assert not risks_of(car), "it is at work again"
    monkeypatch.setattr(gates, "_gates", [])
    services.job_move(job=job, by=owner, stage="done")
    assert not risks_of(car)


def test_a_car_with_nothing_left_undone_says_so(car: Car, client_as: Any) -> None:
    page = client_as("counter").get(f"/cars/{car.pk}/risks/").content.decode()
    assert "No work was declined, and no job called done without proof." in page
