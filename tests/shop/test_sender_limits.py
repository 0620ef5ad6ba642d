"""Addresses that open without a sign-in: who asks without end is told so, and nobody else is hurt by it."""

from typing import Any

import pytest
from django.test import Client

from shop import services
from shop.models import Job, LineAnswer, User
from shop.views import answers, calendar
from tests.shop.bays import left_bay
from tests.shop.estimating import sent

HERE, THERE = "192.0.2.7", "198.51.100.9"  # addresses for documentation (RFC 5737)
TOO_MUCH = "Too much was asked for from your address within an hour. Try again later."


def _get(address: str, sender: str = HERE, **headers: str) -> Any:
    return Client().get(address, REMOTE_ADDR=sender, headers=headers)


@pytest.fixture
def own(tech: User) -> str:
    """The address of a person's calendar."""
    return f"/calendar/{services.feed_make(by=tech)[1]}.ics"


def test_a_calendar_read_without_end_is_refused_to_that_sender_alone(
    own: str, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(calendar, "READS_AN_HOUR", 3)
    assert [_get(own).status_code for _time in range(4)] == [200, 200, 200, 429]
    assert TOO_MUCH in _get(own).content.decode()
    assert _get(own, THERE).status_code == 200, "another reader of the same calendar"
    bay = f"/calendar/{services.feed_make(by=owner, bay=left_bay())[1]}.ics"
    assert _get(bay).status_code == 200, "another calendar of the same reader"


def test_a_whole_shop_behind_one_address_reads_a_calendar_every_five_minutes(own: str) -> None:
    """Five devices for an hour; most of the time nothing is new for them."""
    known = _get(own)["ETag"]
    found = [_get(own, **{"If-None-Match": known}).status_code for _read in range(5 * 12)]
    assert set(found) == {304}


@pytest.mark.parametrize("where", ["/calendar/{}.ics", "/e/{}/"])
def test_who_guesses_addresses_is_stopped_and_a_good_one_opens_all_the_same(
    own: str, job: Job, counter: User, where: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (answers, calendar):
        monkeypatch.setattr(module, "GUESSES_AN_HOUR", 3)
    good = own if "calendar" in where else f"/e/{sent(job, counter)[1]}/"
    guesses = [_get(where.format(f"{number}" * 43)) for number in range(4)]
    assert [one.status_code for one in guesses] == [404, 404, 404, 429]
    assert TOO_MUCH in guesses[-1].content.decode()
    assert _get(good).status_code == 200
    assert _get(where.format("x" * 43), THERE).status_code == 404


def test_who_answered_too_often_is_told_reads_on_and_another_sender_answers(
    job: Job, counter: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(answers, "ANSWERS_AN_HOUR", 2)
    version, token = sent(job, counter)
    at, said = f"/e/{token}/", {f"line-{line.pk}": "approved" for line in version.lines.all()}
    tries = [Client().post(at, {"name": "Eve"}, REMOTE_ADDR=HERE) for _time in range(3)]
    assert [one.status_code for one in tries] == [422, 422, 429]
    assert "Too many answers came from your address within an hour" in tries[-1].content.decode()
    assert _get(at).status_code == 200
    kept = Client().post(at, {**said, "name": "Ada", "sure": "yes"}, REMOTE_ADDR=THERE)
    assert (kept.status_code, LineAnswer.objects.count()) == (302, 2)
