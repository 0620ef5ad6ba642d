"""What guards the door: lock-out and its end, cookies, secrets, sizes, and errors that tell nothing."""

import datetime as dt
import logging
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.conf import settings as project
from django.test import Client
from django.utils import timezone

from shop.models import Job, User
from tests.conftest import PASSWORD

pytestmark = pytest.mark.django_db


def _sign_in(password: str) -> Any:
    return Client().post("/sign-in/", {"username": "tech", "password": password})


def test_a_lock_ends_by_itself_and_holds_one_person_only(tech: User, counter: User) -> None:
    for _attempt in range(project.AXES_FAILURE_LIMIT):
        _sign_in("wrong")
    assert _sign_in(PASSWORD).status_code == 429
    assert Client().post("/sign-in/", {"username": "counter", "password": PASSWORD}).status_code == 302
    AccessAttempt.objects.update(attempt_time=timezone.now() - dt.timedelta(hours=project.AXES_COOLOFF_TIME, seconds=9))
    assert _sign_in(PASSWORD).status_code == 302


def test_no_password_stands_in_logs_or_in_the_database(tech: User, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    _sign_in("a-very-special-typo")
    _sign_in(PASSWORD)
    assert "a-very-special-typo" not in caplog.text
    assert PASSWORD not in caplog.text
    kept = [str(row) for row in AccessAttempt.objects.values_list()]
    assert kept
    assert not any("a-very-special-typo" in row for row in kept)


def test_cookies_are_out_of_reach_of_scripts_and_of_other_sites(tech: User) -> None:
    cookies = _sign_in(PASSWORD).cookies
    assert cookies["sessionid"]["httponly"]
    assert cookies["sessionid"]["samesite"] == "Lax"
    assert cookies["csrftoken"]["samesite"] == "Lax"


def test_the_key_is_made_once_and_is_for_the_owner_of_the_data_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from shop import settings as shipped

    monkeypatch.setattr(shipped, "DATA_DIR", tmp_path)
    monkeypatch.delenv("SECRET_KEY", raising=False)
    key = shipped._secret_key()
    assert len(key) >= 50
    assert shipped._secret_key() == key
    assert stat.S_IMODE((tmp_path / "secret-key").stat().st_mode) == 0o600


def test_an_error_of_ours_tells_nothing_of_the_machine(
    client_as: Callable[[str], Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken() -> None:
        raise RuntimeError("the secret of /etc/topwright")

    monkeypatch.setattr("shop.selectors.floor", broken)
    client = client_as("owner")
    client.raise_request_exception = False
    answer = client.get("/")
    assert answer.status_code == 500
    text = answer.content.decode()
    assert "secret" not in text
    assert "Traceback" not in text
    assert "RuntimeError" not in text


def test_a_body_larger_than_any_picture_is_refused_before_it_is_read(
    client_as: Callable[[str], Client], job: Job, settings: Any
) -> None:
    client = client_as("technician")
    settings.PICTURE_MAX_BYTES = 1000
    body = b"x" * (1000 + settings.DATA_UPLOAD_MAX_MEMORY_SIZE + 1)
    form = "multipart/form-data; boundary=b"
    answer = client.post(f"/jobs/{job.pk}/pictures/", body, content_type=form)
    assert answer.status_code == 413
    assert "too large" in answer.content.decode()
    assert not job.pictures.exists()


def test_more_text_than_a_form_can_carry_is_told_with_what_is_expected(
    client_as: Callable[[str], Client], job: Job, settings: Any
) -> None:
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1024 * 1024
    answer = client_as("technician").post(f"/jobs/{job.pk}/notes/", {"words": "w" * (1024 * 1024 + 1)})
    assert answer.status_code == 413
    assert "too much text; expected at most 1 MB" in answer.content.decode()
    assert not job.notes.exists()


@pytest.mark.parametrize(
    "said", ["http://[", "http://testserver//elsewhere.example/", "https://elsewhere.example/", ""]
)
def test_signing_in_again_leads_to_no_other_site_whatever_a_browser_says(tech: User, job: Job, said: str) -> None:
    answer = Client().post(f"/jobs/{job.pk}/notes/", {"words": "x"}, headers={"Referer": said})
    assert answer.status_code == 302
    after = Client().post(answer["Location"], {"username": "tech", "password": PASSWORD})
    assert after["Location"] == "/"
