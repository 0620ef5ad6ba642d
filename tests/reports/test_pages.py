"""The pages of certificates: found, looked at, asked for, downloaded; what is refused says why."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from diagnostics.models import Check
from reports import services
from reports.models import Certificate, CertificateState
from reports.tasks import certificate_issue_task
from shop.models import Job, RunState, TaskRun, User
from tests.reports.test_draw import pages_of
from tests.reports.test_services import ask_and_issue

ClientAs = Callable[[str], Client]
HTMX = {"HX-Request": "true"}


def words_of(response: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def test_empty_list_says_how_to_get_one(client_as: ClientAs) -> None:
    response = client_as("counter").get(reverse("reports:certificates"))
    assert response.status_code == 200
    assert "No certificate has been issued yet" in words_of(response)


def test_found_by_number_vin_or_owner(checked: Job, tech: User, client_as: ClientAs) -> None:
    made = ask_and_issue(checked, tech)
    client = client_as("counter")
    for words in (made.number[8:14].lower(), checked.car.vin[-6:], "quill"):
        response = client.get(reverse("reports:certificates"), {"q": words}, headers=HTMX)
        assert made.number in words_of(response), words
        assert "<html" not in response.content.decode()
    assert "No certificate has “zzz”" in words_of(client.get(reverse("reports:certificates"), {"q": "zzz"}))


def test_the_list_asks_no_more_for_more_rows(
    checked: Job, tech: User, client_as: ClientAs, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    first = ask_and_issue(checked, tech)
    client = client_as("counter")
    for n in range(20):
        Certificate.objects.create(
            number=f"TW-{n}", job=checked, car=checked.car, fingerprint=str(n), asked_by=tech, asked_at=first.asked_at
        )
    with django_assert_max_num_queries(6):
        client.get(reverse("reports:certificates"))


def test_page_says_what_the_paper_says(checked: Job, tech: User, client_as: ClientAs) -> None:
    made = ask_and_issue(checked, tech)
    words = words_of(client_as("counter").get(made.get_absolute_url()))
    paper = pages_of(Path(made.file.path).read_bytes())[0]
    assert made.sha256 in words
    for said in ("The top does not meet its requirements.", "BG8 Shells stacked", "Ada Quill", checked.car.vin):
        assert said in words
        assert said in paper
    count = len(made.content["results"]["not_tested"])
    assert f"{count} things" in words
    assert f"({count} in all)" in paper


def test_download_is_the_file_byte_for_byte(checked: Job, tech: User, client_as: ClientAs) -> None:
    made = ask_and_issue(checked, tech)
    response = client_as("counter").get(reverse("reports:certificate-file", args=[made.number]))
    assert response.content == Path(made.file.path).read_bytes()
    assert response["Content-Type"] == "application/pdf"
    assert made.number in response["Content-Disposition"]


def test_an_altered_or_lost_file_is_not_handed_out(checked: Job, tech: User, client_as: ClientAs) -> None:
    made = ask_and_issue(checked, tech)
    address = reverse("reports:certificate-file", args=[made.number])
    path = Path(made.file.path)
    path.write_bytes(path.read_bytes() + b" ")
    response = client_as("counter").get(address)
    assert response.status_code == 409
    assert "is not what was issued" in words_of(response)
    path.unlink()
    response = client_as("counter").get(address)
    assert response.status_code == 409
    assert "gone from the store" in words_of(response)


def test_unknown_number_is_not_here(client_as: ClientAs) -> None:
    for name in ("reports:certificate", "reports:certificate-file"):
        assert client_as("owner").get(reverse(name, args=["TW-2026-00000000-0"])).status_code == 404


def test_strangers_must_sign_in(checked: Job, tech: User, client_as: ClientAs) -> None:
    made = ask_and_issue(checked, tech)
    for name, key in (
        ("certificates", None),
        ("certificate", made.number),
        ("certificate-file", made.number),
        ("job-panel", checked.pk),
        ("car-panel", checked.car_id),
    ):
        response = client_as("nobody").get(reverse(f"reports:{name}", args=[key] if key else []))
        assert response.status_code == 302, name
        assert reverse("shop:sign-in") in response["Location"]


@pytest.mark.parametrize(("role", "status"), [("technician", 302), ("owner", 302), ("counter", 403), ("parts", 403)])
def test_who_may_ask(checked: Job, client_as: ClientAs, role: str, status: int) -> None:
    response = client_as(role).post(reverse("reports:issue", args=[checked.pk]))
    assert response.status_code == status
    assert Certificate.objects.exists() == (status == 302)


def test_asking_without_javascript_goes_to_the_run_then_to_the_paper(checked: Job, client_as: ClientAs) -> None:
    client = client_as("technician")
    response = client.post(reverse("reports:issue", args=[checked.pk]))
    run = TaskRun.objects.get()
    assert response["Location"] == run.get_absolute_url()
    made = Certificate.objects.get()
    certificate_issue_task(str(run.pk), made.pk)
    assert client.post(reverse("reports:issue", args=[checked.pk]))["Location"] == made.get_absolute_url()


def test_asking_with_htmx_shows_progress_then_the_certificate(checked: Job, client_as: ClientAs) -> None:
    client = client_as("technician")
    panel = reverse("reports:job-panel", args=[checked.pk])
    assert "None yet." in words_of(client.get(panel, headers=HTMX))
    response = client.post(reverse("reports:issue", args=[checked.pk]), headers=HTMX)
    html = response.content.decode()
    assert response.status_code == 200
    assert "<progress" in html
    assert 'hx-trigger="every 1s"' in html
    run, made = TaskRun.objects.get(), Certificate.objects.get()
    certificate_issue_task(str(run.pk), made.pk)
    after = client.get(panel, headers=HTMX).content.decode()
    assert made.number in after
    assert "every 1s" not in after
    assert "it stands" in words_of(client.post(reverse("reports:issue", args=[checked.pk]), headers=HTMX))


def test_a_failed_run_is_said_on_the_job(checked: Job, tech: User, client_as: ClientAs) -> None:
    made, run = services.certificate_freeze(job=checked, by=tech)
    assert run is not None
    TaskRun.objects.filter(pk=run.pk).update(state=RunState.FAILED, words="The pen is dry.")
    client = client_as("technician")
    words = words_of(client.get(reverse("reports:job-panel", args=[checked.pk]), headers=HTMX))
    assert "The pen is dry." in words
    assert "Issue a certificate" in words
    assert "Ask for it again" in words_of(client.get(made.get_absolute_url()))


def test_nothing_inspected_is_said(job: Job, client_as: ClientAs, sheet: Any) -> None:
    response = client_as("technician").post(reverse("reports:issue", args=[job.pk]))
    assert response.status_code == 422
    assert "Nothing has been inspected" in words_of(response)


def test_a_replaced_one_says_so_on_its_page(
    checked: Job, tech: User, client_as: ClientAs, enter: Callable[..., Check]
) -> None:
    first = ask_and_issue(checked, tech)
    enter(check="battery", volts=12.6)
    second = ask_and_issue(checked, tech)
    client = client_as("counter")
    words = words_of(client.get(first.get_absolute_url()))
    assert "no longer valid" in words
    assert second.number in words
    assert first.number in words_of(client.get(second.get_absolute_url()))
    panel = words_of(client.get(reverse("reports:car-panel", args=[checked.car_id]), headers=HTMX))
    assert first.number in panel
    assert second.number in panel
    first.refresh_from_db()
    assert first.state == CertificateState.REPLACED


def test_panels_are_whole_pages_without_javascript(checked: Job, client_as: ClientAs) -> None:
    client = client_as("counter")
    for name, key in (("job-panel", checked.pk), ("car-panel", checked.car_id)):
        html = client.get(reverse(f"reports:{name}", args=[key])).content.decode()
        assert "<html" in html
        assert "style=" not in html
