"""Estimates on their pages: at the desk, behind the customer's link, and as tables."""

import logging
import re
from collections.abc import Callable
from io import StringIO
from typing import Any

import pytest
from django.core import mail
from django.core.cache import caches
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from shop import services
from shop.models import EstimateLine, EstimateVersion, Job, LineAnswer, Outlay, ShopProfile, User
from tests.shop.estimating import drafted, line_of, sent

pytestmark = pytest.mark.django_db
ClientAs = Callable[[str], Client]
LINE = {
    "act": "keep", "kind": "part", "words": "Seal", "quantity": "2", "unit": "piece", "unit_price": "12,50",
    "tax_percent": "20",
}  # fmt: skip


@pytest.fixture(autouse=True)
def _nobody_has_sent_anything() -> None:
    caches["counts"].clear()


def _text(answer: Any) -> str:
    return str(answer.content.decode())


def _answers(version: EstimateVersion, *given: str) -> dict[str, str]:
    return {f"line-{line.pk}": answer for line, answer in zip(version.lines.order_by("number"), given, strict=False)}


def test_an_estimate_is_begun_from_the_job_filled_and_seen_there(client_as: ClientAs, job: Job) -> None:
    client = client_as("counter")
    begun = client.post(f"/jobs/{job.pk}/estimates/new/", {"from": "hand"})
    at = begun["Location"]
    assert client.post(f"{at}lines/", LINE).status_code == 302
    line = EstimateLine.objects.get()
    assert str(line.unit_price) == "12.50"
    changed = LINE | {"line": str(line.pk), "words": "Seal kit"}
    client.post(f"{at}lines/", changed)
    page = _text(client.get(f"{at}?line={line.pk}"))
    assert "Change line 1" in page
    assert "EUR 25.00" in page
    panel = _text(client.get(f"/jobs/{job.pk}/estimates/", headers={"HX-Request": "true"}))
    assert "EUR 30.00" in panel
    assert "Draft" in panel
    assert "<html" not in panel
    client.post(f"{at}lines/", {"act": f"remove:{line.pk}"})
    assert EstimateLine.objects.count() == 0
    gone = client.post(f"{at}lines/", {"act": f"up:{line.pk}"})
    assert (gone.status_code, "no longer there" in _text(gone)) == (409, True)


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("quantity", "0", "The quantity must be more than 0"),
        ("quantity", "-2", "The quantity must be more than 0"),
        ("unit_price", "1.234,50", "without a sign between the thousands"),
        ("unit_price", "1,234", "no more than 2 decimal places"),
        ("unit_price", "NaN", "without a sign between the thousands"),
        ("tax_percent", "100", "no more than 2 digits before the decimal point"),
        ("words", "x" * 500, "at most 240 characters"),
    ],
)
def test_a_line_that_cannot_be_is_explained_and_what_was_typed_stays(
    client_as: ClientAs, job: Job, counter: User, field: str, value: str, words: str
) -> None:
    version = services.estimate_make(job=job, by=counter, from_plan=False)
    answer = client_as("counter").post(f"/estimates/{version.pk}/lines/", LINE | {field: value})
    assert answer.status_code == 422
    assert words in _text(answer)
    assert f'value="{value}"' in _text(answer)
    assert EstimateLine.objects.count() == 0


def test_sending_mails_the_text_and_a_link_that_opens_it(client_as: ClientAs, job: Job, counter: User) -> None:
    ShopProfile.objects.create(pk=1, name="Verdeckwerk Halden", address="Gerberstraße 14")
    version = drafted(job, counter)
    client = client_as("counter")
    answer = client.post(f"/estimates/{version.pk}/send/", {"to": "ada@post.example", "hold": "on"})
    assert answer.status_code == 200
    assert answer["Referrer-Policy"] == "strict-origin"  # never the path, which holds the secret
    assert "no-store" in answer["Cache-Control"]
    (letter,) = mail.outbox
    version.refresh_from_db()
    assert letter.to == ["ada@post.example"]
    assert version.text in letter.body
    link = re.search(r"http://testserver(/e/\S+/)", str(letter.body))
    assert link
    assert link[1] in _text(answer)
    assert version.text.replace("\n", "") in _text(client_as("nobody").get(link[1])).replace("\n", "")
    job.refresh_from_db()
    assert job.hold == "customer"
    assert client.post(f"/estimates/{version.pk}/send/", {"to": ""}).status_code == 409


def test_without_an_address_the_link_is_there_to_copy_and_no_mail_goes(
    client_as: ClientAs, job: Job, counter: User
) -> None:
    version = drafted(job, counter)
    page = _text(client_as("counter").post(f"/estimates/{version.pk}/send/", {"to": ""}))
    assert "hand the customer this link yourself" in page
    assert re.search(r"http://testserver/e/\S{40,}/", page)
    assert mail.outbox == []
    job.refresh_from_db()
    assert job.hold == "bench"


def test_where_the_mail_server_fails_the_estimate_is_sent_and_the_link_is_there(
    client_as: ClientAs, job: Job, counter: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_args: object) -> None:
        raise ConnectionRefusedError

    monkeypatch.setattr("shop.views.estimates.send_mail", fails)
    version = drafted(job, counter)
    page = _text(client_as("counter").post(f"/estimates/{version.pk}/send/", {"to": "ada@post.example"}))
    assert "The mail server did not take the mail" in page
    assert "http://testserver/e/" in page


def test_sending_nothing_says_so(client_as: ClientAs, job: Job, counter: User) -> None:
    version = services.estimate_make(job=job, by=counter, from_plan=False)
    answer = client_as("counter").post(f"/estimates/{version.pk}/send/", {"to": ""})
    assert (answer.status_code, "no line yet" in _text(answer)) == (422, True)


def test_the_customer_answers_line_by_line_and_sees_what_was_answered(
    client_as: ClientAs, job: Job, counter: User
) -> None:
    version, token = sent(job, counter)
    client, at = client_as("nobody"), f"/e/{token}/"
    first = client.get(at)
    assert first["Referrer-Policy"] == "strict-origin"  # never the path, which holds the secret
    assert "no-store" in first["Cache-Control"]
    data = _answers(version, "approved", "declined") | {"name": "Ada Quill"}
    asked = client.post(at, data)
    assert "once and for good" in _text(asked)
    assert LineAnswer.objects.count() == 0
    assert client.post(at, data | {"sure": "yes"}).status_code == 302
    page = _text(client.get(at))
    assert "What you answered" in page
    assert "Ada Quill" in page
    assert "line by line" not in page
    again = client.post(at, data | {"sure": "yes"})
    assert (again.status_code, "Answered already, by Ada Quill" in _text(again)) == (409, True)
    assert LineAnswer.objects.count() == 2
    panel = _text(client_as("technician").get(f"/jobs/{job.pk}/estimates/"))
    assert "EUR 216.00" in panel
    assert "Answered" in panel


def test_a_second_tab_with_half_the_lines_loses_nothing(client_as: ClientAs, job: Job, counter: User) -> None:
    version, token = sent(job, counter)
    client, at = client_as("nobody"), f"/e/{token}/"
    client.post(at, _answers(version, "approved") | {"name": "Ada", "sure": "yes"})
    late = client.post(at, _answers(version, "declined", "approved") | {"name": "Ben", "sure": "yes"})
    assert late.status_code == 409
    assert LineAnswer.objects.count() == 1
    page = _text(late)
    assert 'value="Ben"' in page
    assert re.search(r'value="approved" checked', page)


@pytest.mark.parametrize("end", ["replaced", "withdrawn", "expired"])
def test_a_link_that_counts_no_more_explains_itself_and_keeps_nothing(
    client_as: ClientAs, job: Job, counter: User, end: str
) -> None:
    version, token = sent(job, counter)
    if end == "replaced":
        newer = services.version_next(version=version, by=counter)
        services.estimate_send(version=newer, by=counter, to="", hold=False)
    elif end == "withdrawn":
        services.estimate_withdraw(version=version, by=counter)
    else:
        EstimateVersion.objects.update(expires_at=timezone.now())
    client, at = client_as("nobody"), f"/e/{token}/"
    page = client.get(at)
    assert page.status_code == 200
    assert end.capitalize() in _text(page)
    assert "<form" not in _text(page)
    answer = client.post(at, _answers(version, "approved") | {"name": "Ada", "sure": "yes"})
    assert answer.status_code == 409
    assert LineAnswer.objects.count() == 0


def test_an_unknown_link_opens_nothing(client_as: ClientAs, db: None) -> None:
    answer = client_as("nobody").get("/e/nothing/")
    assert (answer.status_code, "This link opens nothing" in _text(answer)) == (404, True)
    assert client_as("nobody").post("/e/nothing/", {"name": "x"}).status_code == 404


def test_markup_in_words_is_shown_as_it_was_typed(client_as: ClientAs, job: Job, counter: User) -> None:
    version = services.estimate_make(job=job, by=counter, from_plan=False)
    line_of(version, counter, words="<script>alert(1)</script>")
    token = services.estimate_send(version=version, by=counter, to="", hold=False)
    for address in (f"/e/{token}/", f"/estimates/{version.pk}/"):
        page = _text(client_as("counter").get(address))
        assert "<script>alert" not in page
        assert "&lt;script&gt;alert(1)" in page


def test_one_sender_cannot_answer_without_end(client_as: ClientAs, job: Job, counter: User) -> None:
    _version, token = sent(job, counter)
    client = client_as("nobody")
    answers = [client.post(f"/e/{token}/", {"name": "x"}).status_code for _time in range(61)]
    assert answers == [422] * 60 + [429]


def test_what_was_said_at_the_counter_is_noted_with_who_heard_it(client_as: ClientAs, job: Job, counter: User) -> None:
    version, _token = sent(job, counter)
    client, data = client_as("counter"), _answers(version, "approved") | {"name": "Ada"}
    assert client.post(f"/estimates/{version.pk}/answer/", data).status_code == 302
    assert "noted by counter" in _text(client.get(f"/estimates/{version.pk}/"))
    assert client.post(f"/estimates/{version.pk}/answer/", data).status_code == 409
    assert client.post(f"/estimates/{version.pk}/answer/", {"name": ""}).status_code == 422


def test_the_job_is_offered_to_the_bench_once_all_is_answered(client_as: ClientAs, job: Job, counter: User) -> None:
    version, _token = sent(job, counter)
    client, at = client_as("counter"), f"/jobs/{job.pk}/estimates/"
    assert "It waits for the customer" in _text(client.get(at))
    services.job_hold(job=job, by=counter, hold="customer")
    assert "Back to the bench" not in _text(client.get(at))
    answers = {line.pk: "approved" for line in version.lines.all()}
    services.answers_keep(version=version, answers=answers, name="Ada")
    assert "Back to the bench" in _text(client.get(at))
    client.post(f"/jobs/{job.pk}/hold/", {"hold": "bench"})
    assert "Back to the bench" not in _text(client.get(at))


def test_outlays_are_booked_struck_and_compared(client_as: ClientAs, job: Job, counter: User) -> None:
    version, _token = sent(job, counter)
    services.answers_keep(version=version, answers={line.pk: "approved" for line in version.lines.all()}, name="Ada")
    client, at = client_as("parts"), f"/jobs/{job.pk}/outlays/"
    client.post(at, LINE | {"unit_price": "44"})
    page = _text(client.get(at))
    assert "EUR 88.00" in page
    assert "above it" in page
    client.post(f"/outlays/{Outlay.objects.get().pk}/strike/")
    page = _text(client.get(at))
    assert "struck" in page
    assert "above it" not in page


def test_the_table_for_the_bookkeeping_has_no_formula(client_as: ClientAs, job: Job, counter: User) -> None:
    version = services.estimate_make(job=job, by=counter, from_plan=False)
    line = line_of(version, counter, words="=1+1")
    services.estimate_send(version=version, by=counter, to="", hold=False)
    services.answers_keep(version=version, answers={line.pk: "approved"}, name="Ada")
    month = timezone.localdate().strftime("%Y-%m")
    client = client_as("counter")
    for address in (f"/books/?month={month}", f"/jobs/{job.pk}/books/"):
        table = _text(client.get(address))
        assert ",approved,labour,'=1+1,2.00,h,90.00,180.00,20.00,36.00,EUR" in table
    assert client.get("/books/?month=2026-13").status_code == 422
    assert "EUR" not in _text(client.get("/books/?month=1999-01"))


def test_the_owner_sets_the_rates_that_the_next_estimate_takes(client_as: ClientAs, job: Job) -> None:
    data: dict[str, Any] = {
        "opens_at": "08:00", "closes_at": "16:30", "break_minutes": "30", "work_days": ["0", "1", "5"],
        "hourly_rate": "101,50", "tax_percent": "19", "currency": "CHF",
    }  # fmt: skip
    client = client_as("owner")
    assert client.post("/shop/", data).status_code == 302
    shop = ShopProfile.objects.get()
    assert (shop.work_days, str(shop.hourly_rate), shop.currency) == ("1100010", "101.50", "CHF")
    assert "CHF" in _text(client.get("/shop/"))
    at = client.post(f"/jobs/{job.pk}/estimates/new/", {"from": "hand"})["Location"]
    assert 'value="101.50"' in _text(client.get(at))
    for wrong in ({"currency": "euro"}, {"closes_at": "07:00"}, {"work_days": []}, {"work_days": ["8"]}):
        assert client.post("/shop/", data | wrong).status_code == 422
    assert ShopProfile.objects.get().currency == "CHF"


def test_a_full_estimate_is_light_and_asks_no_more_than_a_small_one(
    client_as: ClientAs, job: Job, counter: User
) -> None:
    version = services.estimate_make(job=job, by=counter, from_plan=False)
    EstimateLine.objects.bulk_create(
        EstimateLine(
            version=version, number=number, kind="part", words="w" * 240, quantity=1, unit="piece", unit_price=1,
            tax_percent=20,
        )
        for number in range(1, 101)
    )  # fmt: skip
    client = client_as("owner")
    token = ""
    for _state in ("draft", "sent"):
        for address in (
            f"/estimates/{version.pk}/",
            f"/jobs/{job.pk}/estimates/",
            *([f"/e/{token}/"] if token else []),
        ):
            with CaptureQueriesContext(connection) as queries:
                page = client.get(address)
            assert len(queries) < 12, (address, [query["sql"] for query in queries])
            assert len(page.content) < 150_000, address
        token = token or services.estimate_send(version=version, by=counter, to="", hold=False)


def test_the_secret_of_a_link_is_in_no_log(client_as: ClientAs, job: Job, counter: User) -> None:
    _version, token = sent(job, counter)
    written = StringIO()
    (handler,) = [one for one in logging.getLogger().handlers if getattr(one, "name", "") == "stderr"]
    before = handler.setStream(written)  # type: ignore[attr-defined]
    try:
        assert client_as("nobody").post(f"/e/{token}/", {"name": ""}).status_code == 422
        assert client_as("nobody").get("/nowhere/").status_code == 404
    finally:
        handler.setStream(before)  # type: ignore[attr-defined]
    assert "/e/…/" in written.getvalue()
    assert "/nowhere/" in written.getvalue()
    assert token not in written.getvalue()
