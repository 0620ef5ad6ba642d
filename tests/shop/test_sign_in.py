"""Sign-in, lock-out, tour and error pages."""

from collections.abc import Callable

import pytest
from django.conf import settings as project
from django.test import Client

from shop.models import Job, User
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db


def test_a_person_signs_in_and_comes_back_to_where_they_were_going(tech: User) -> None:
    client = Client()
    answer = client.get("/cars/?q=x")
    assert answer["Location"] == "/sign-in/?next=/cars/%3Fq%3Dx"
    answer = client.post("/sign-in/", {"username": "tech", "password": PASSWORD, "next": "/cars/?q=x"})
    assert answer["Location"] == "/cars/?q=x"
    text = client.get("/").content.decode()
    assert "Technician" in text
    assert client.post("/sign-out/")["Location"] == "/sign-in/"
    assert client.get("/").status_code == 302


def test_nobody_is_sent_to_another_site_after_signing_in(tech: User) -> None:
    data = {"username": "tech", "password": PASSWORD, "next": "https://example.org/"}
    assert Client().post("/sign-in/", data)["Location"] == "/"


def test_a_wrong_password_keeps_the_name_and_too_many_lock(tech: User) -> None:
    client = Client()
    answer = client.post("/sign-in/", {"username": "tech", "password": "wrong"})
    assert answer.status_code == 422
    assert 'value="tech"' in answer.content.decode()
    for _attempt in range(project.AXES_FAILURE_LIMIT):
        answer = client.post("/sign-in/", {"username": "tech", "password": "wrong"})
    assert answer.status_code == 429
    assert "Too many wrong passwords" in answer.content.decode()
    assert client.post("/sign-in/", {"username": "tech", "password": PASSWORD}).status_code == 429


def test_passwords_are_kept_with_argon2() -> None:
    from shop import settings as shipped

    assert shipped.PASSWORD_HASHERS == ["django.contrib.auth.hashers.Argon2PasswordHasher"]


def test_the_tour_shows_once_and_can_be_asked_for_again(client_as: Callable[[str], Client], tech: User) -> None:
    client = client_as("technician")
    text = client.get("/").content.decode()
    assert text.count('class="tour-step') == 4
    assert client.post("/tour/dismiss/", headers={"HX-Request": "true"}).content == b""
    assert "tour-step" not in client.get("/").content.decode()
    assert "tour-step" in client.get("/?tour=1").content.decode()
    tech.refresh_from_db()
    assert tech.tour_dismissed_at is not None


@pytest.mark.parametrize("role", ["nobody", "owner"])
def test_an_address_that_is_none(client_as: Callable[[str], Client], role: str) -> None:
    answer = client_as(role).get("/nothing/here/")
    assert answer.status_code == 404
    assert "There is nothing at this address" in answer.content.decode()


def test_a_form_from_elsewhere_is_refused_in_words(tech: User) -> None:
    client = Client(enforce_csrf_checks=True)
    answer = client.post("/sign-in/", {"username": "tech", "password": PASSWORD})
    assert answer.status_code == 403
    assert "load it again and send it once more" in answer.content.decode()


def test_a_broken_page_says_so_without_request_or_database(
    client_as: Callable[[str], Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken() -> None:
        raise RuntimeError("broken")

    monkeypatch.setattr("shop.selectors.floor", broken)
    client = client_as("owner")
    client.raise_request_exception = False
    answer = client.get("/")
    assert answer.status_code == 500
    assert "Something broke here" in answer.content.decode()


def test_a_form_sent_after_the_session_ended_leads_back_to_its_page(job: Job, tech: User) -> None:
    client = Client()
    headers = {"Referer": f"http://testserver{job.get_absolute_url()}"}
    answer = client.post(f"/jobs/{job.pk}/notes/", {"words": "Props"}, headers=headers)
    assert answer["Location"] == f"/sign-in/?next=%2Fjobs%2F{job.pk}%2F"
    for strange in ("http://elsewhere.example/jobs/1/", ""):
        answer = client.post(f"/jobs/{job.pk}/notes/", {"words": "Props"}, headers={"Referer": strange})
        assert answer["Location"] == "/sign-in/?next=%2F"


def test_reading_an_address_that_only_takes_a_form_says_so(job: Job, client_as: Callable[[str], Client]) -> None:
    answer = client_as("technician").get(f"/jobs/{job.pk}/notes/")
    assert answer.status_code == 405
    assert answer["Allow"] == "POST"
    assert "it only takes what a form sends" in answer.content.decode()
