"""Estimates: what is offered stays as it was sent, an answer counts once, and what was agreed is held against what it
cost."""

import datetime as dt
import hashlib
from decimal import Decimal
from typing import Any

import pytest
from django.utils import timezone

from shop import services
from shop.errors import Conflict, Refused, ShopError
from shop.estimates import line_words
from shop.models import (
    Clock,
    EstimateLine,
    EstimateVersion,
    Hold,
    Job,
    LineAnswer,
    Outlay,
    ShopProfile,
    Stage,
    Task,
    TaskPart,
    TrailEntry,
    User,
)
from shop.selectors.estimates import actual_against_approved, books, estimate_of
from tests.shop.estimating import drafted, line_of, sent

pytestmark = pytest.mark.django_db


def _pks(version: EstimateVersion) -> list[int]:
    return list(version.lines.order_by("number").values_list("pk", flat=True))


def test_an_estimate_of_the_plan_has_its_hours_parts_and_outside_work(job: Job, counter: User) -> None:
    ShopProfile.objects.create(pk=1, name="Verdeckwerk", address="Halden", hourly_rate="84.00", tax_percent="19.00")
    seal = Task.objects.create(job=job, number=1, title="Seal the cylinder", planned_minutes=100)
    TaskPart.objects.create(task=seal, part="TW-1", name="Seal kit", quantity=2)
    Task.objects.create(job=job, number=2, title="Sew the cover", kind="outside", outside_days=9)
    Task.objects.create(
        job=job, number=3, title="Not after all", planned_minutes=60, state="dropped", ended_at=timezone.now()
    )
    version = services.estimate_make(job=job, by=counter, from_plan=True)
    rows = [(row.kind, row.words, row.quantity, row.unit_price, row.tax_percent) for row in version.lines.all()]
    assert rows == [
        ("labour", "Seal the cylinder", Decimal("1.67"), Decimal("84.00"), Decimal("19.00")),
        ("part", "Seal kit TW-1", Decimal(2), Decimal(0), Decimal("19.00")),
        ("outside", "Sew the cover", Decimal(1), Decimal(0), Decimal("19.00")),
    ]
    Task.objects.create(job=job, number=4, title="Found later", planned_minutes=30)
    later = services.estimate_make(job=job, by=counter, from_plan=True)
    assert later.estimate.title == "Supplement 1"
    assert [row.words for row in later.lines.all()] == ["Found later"]


def _parts(job: Job, number: int, count: int) -> Task:
    task = Task.objects.create(job=job, number=number, title=f"Task {number}", planned_minutes=30)
    TaskPart.objects.bulk_create(TaskPart(task=task, name=f"Clip {count}") for _part in range(count))
    return task


def test_a_plan_of_more_than_a_hundred_lines_is_offered_in_whole_tasks_and_said(
    job: Job, counter: User, client_as: Any
) -> None:
    """Two tasks of 61 lines each: the second is in no estimate in part, so a supplement finds all of it."""
    first, second = _parts(job, 1, 60), _parts(job, 2, 60)
    client = client_as("counter")
    page = client.post(f"/jobs/{job.pk}/estimates/new/", {"from": "plan"}, follow=True).content.decode()
    assert "at most 100 lines: 1 task of the work plan has no place in this one." in page
    version = EstimateVersion.objects.get()
    assert {line.task for line in version.lines.all()} == {first}
    assert version.lines.count() == 61
    page = client.post(f"/jobs/{job.pk}/estimates/new/", {"from": "plan"}, follow=True).content.decode()
    assert "has no place" not in page
    later = EstimateVersion.objects.get(estimate__number=2)
    assert [line.number for line in later.lines.all()] == list(range(1, 62))
    assert {line.task for line in later.lines.all()} == {second}


def test_lines_of_a_draft_are_added_changed_moved_and_removed(job: Job, counter: User) -> None:
    version = drafted(job, counter)
    third = line_of(version, counter, words="Bleed the hydraulics")
    services.line_up(version=version, by=counter, line=third)
    words = ["Replace the lid switch", "Bleed the hydraulics", "Lid switch"]
    assert [row.words for row in version.lines.order_by("number")] == words
    first = version.lines.get(number=1)
    services.line_up(version=version, by=counter, line=first)
    line_of(version, counter, line=first, words="Replace  both\nswitches")
    assert version.lines.get(number=1).words == "Replace both switches"
    services.line_remove(version=version, by=counter, line=first)
    rows = list(version.lines.order_by("number").values_list("number", "words"))
    assert rows == [(1, "Bleed the hydraulics"), (2, "Lid switch")]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"quantity": Decimal(0)}, "The quantity must be more than 0"),
        ({"quantity": Decimal(-1)}, "The quantity must be more than 0"),
        ({"unit_price": Decimal("-0.01")}, "The price must be 0 or more"),
        ({"words": "  "}, "Say what the line is for"),
    ],
)
def test_a_line_that_says_nothing_is_refused(job: Job, counter: User, more: dict[str, object], words: str) -> None:
    version = services.estimate_make(job=job, by=counter, from_plan=False)
    with pytest.raises(ShopError, match=words):
        line_of(version, counter, **more)
    assert version.lines.count() == 0


def test_ten_thousand_lines_are_refused_at_the_hundred_and_first(job: Job, counter: User) -> None:
    version = services.estimate_make(job=job, by=counter, from_plan=False)
    EstimateLine.objects.bulk_create(
        EstimateLine(
            version=version, number=number, kind="part", words="Clip", quantity=1, unit="piece", unit_price=1,
            tax_percent=0,
        )
        for number in range(1, 101)
    )  # fmt: skip
    with pytest.raises(ShopError, match="at most 100 lines"):
        line_of(version, counter)
    assert version.lines.count() == 100


def test_what_was_sent_is_frozen_word_for_word(job: Job, counter: User) -> None:
    version, token = sent(job, counter)
    version.refresh_from_db()
    assert "1. Labour: Replace the lid switch – 2 h at EUR 90.00 = EUR 180.00 (tax 20 %)" in version.text
    assert "Tax 20 % on EUR 221.35: EUR 44.27\nSum with tax: EUR 265.62" in version.text
    assert version.token_hash == hashlib.sha256(token.encode()).hexdigest()
    assert version.expires_at is not None
    assert version.sent_at is not None
    assert version.expires_at - version.sent_at == dt.timedelta(days=30)
    told = TrailEntry.objects.get(kind="estimate.sent")
    assert hashlib.sha256(version.text.encode()).hexdigest() in told.words
    assert token not in str(list(TrailEntry.objects.values())) + str(EstimateVersion.objects.values())
    assert "ada@post.example" not in str(list(TrailEntry.objects.values()))
    for change in (
        lambda: line_of(version, counter),
        lambda: services.line_remove(version=version, by=counter, line=version.lines.all()[0]),
        lambda: services.line_up(version=version, by=counter, line=version.lines.all()[1]),
        lambda: services.estimate_words(version=version, by=counter, title="New", words=""),
        lambda: services.estimate_send(version=version, by=counter, to="", hold=False),
    ):
        with pytest.raises(Conflict, match="does not change any more"):
            change()


def test_sending_can_have_the_job_wait_for_the_customer(job: Job, counter: User) -> None:
    sent(job, counter, hold=True)
    job.refresh_from_db()
    assert (job.hold, job.hold_note) == (Hold.CUSTOMER, "Estimate")


def test_nothing_is_sent_without_a_line(job: Job, counter: User) -> None:
    version = services.estimate_make(job=job, by=counter, from_plan=False)
    with pytest.raises(ShopError, match="no line yet"):
        services.estimate_send(version=version, by=counter, to="", hold=True)
    job.refresh_from_db()
    assert job.hold == Hold.BENCH


def test_an_answer_keeps_the_text_of_the_line_and_counts_once(job: Job, counter: User) -> None:
    version, _token = sent(job, counter)
    labour, part = _pks(version)
    services.answers_keep(version=version, answers={labour: "approved"}, name="Ada  Quill")
    kept = LineAnswer.objects.get()
    assert kept.text == line_words(version.lines.get(pk=labour), "EUR")
    assert (kept.name, kept.noted_by) == ("Ada Quill", None)
    told = TrailEntry.objects.get(kind="estimate.answered")
    assert told.words == "Estimate: approved 1, declined 0."
    with pytest.raises(Conflict, match="Answered already, by Ada Quill"):
        services.answers_keep(version=version, answers={part: "approved", labour: "declined"}, name="Ben")
    assert LineAnswer.objects.count() == 1
    services.answers_keep(version=version, answers={part: "declined"}, name="Ada Quill", noted_by=counter)
    assert LineAnswer.objects.get(line=part).noted_by == counter


def test_a_line_whose_number_stands_in_the_words_too_is_kept_as_itself(job: Job, counter: User) -> None:
    version = drafted(job, counter)
    services.estimate_words(version=version, by=counter, title="Estimate", words="1. We found\n2. a broken switch")
    services.estimate_send(version=version, by=counter, to="", hold=False)
    services.answers_keep(version=version, answers=dict.fromkeys(_pks(version), "approved"), name="Ada")
    assert [kept.text[:9] for kept in LineAnswer.objects.order_by("pk")] == ["1. Labour", "2. Part: "]


def test_an_answer_to_what_counts_no_more_is_refused_with_what_to_do(job: Job, counter: User) -> None:
    version, _token = sent(job, counter)
    newer = services.version_next(version=version, by=counter)
    assert [row.words for row in newer.lines.all()] == ["Replace the lid switch", "Lid switch"]
    answers = dict.fromkeys(_pks(version), "approved")
    with pytest.raises(Conflict, match="a draft of this estimate already: version 2"):
        services.version_next(version=version, by=counter)
    services.estimate_send(version=newer, by=counter, to="", hold=False)
    version.refresh_from_db()
    assert version.state == "replaced"
    with pytest.raises(Conflict, match="newer version of this estimate was sent"):
        services.answers_keep(version=version, answers=answers, name="Ada")
    EstimateVersion.objects.filter(pk=newer.pk).update(expires_at=timezone.now())
    with pytest.raises(Conflict, match="time for an answer is over"):
        services.answers_keep(version=newer, answers=dict.fromkeys(_pks(newer), "approved"), name="Ada")
    assert LineAnswer.objects.count() == 0


def test_a_withdrawn_estimate_takes_no_answer_and_an_answered_one_is_not_withdrawn(job: Job, counter: User) -> None:
    version, _token = sent(job, counter)
    services.estimate_withdraw(version=version, by=counter)
    with pytest.raises(Conflict, match="was withdrawn"):
        services.answers_keep(version=version, answers=dict.fromkeys(_pks(version), "approved"), name="Ada")
    other, _token = sent(job, counter)
    services.answers_keep(version=other, answers={_pks(other)[0]: "declined"}, name="Ada")
    with pytest.raises(Conflict, match="has answered already"):
        services.estimate_withdraw(version=other, by=counter)


@pytest.mark.parametrize(
    ("name", "words"), [("", "Whose answer"), ("Ada", "at least one line"), ("Ben", "not in this estimate")]
)
def test_an_answer_without_name_or_line_or_for_another_estimate(job: Job, counter: User, name: str, words: str) -> None:
    version, _token = sent(job, counter)
    other, _token = sent(job, counter)
    answers = {"": {_pks(version)[0]: "approved"}, "Ada": {}, "Ben": {_pks(other)[0]: "approved"}}[name]
    with pytest.raises(ShopError, match=words):
        services.answers_keep(version=version, answers=answers, name=name)
    assert LineAnswer.objects.count() == 0


def test_who_may_not_write_estimates_may_not(job: Job, counter: User, tech: User) -> None:
    version = drafted(job, counter)
    for change in (
        lambda: services.estimate_make(job=job, by=tech, from_plan=False),
        lambda: line_of(version, tech),
        lambda: services.estimate_send(version=version, by=tech, to="", hold=False),
        lambda: services.version_next(version=version, by=tech),
        lambda: services.estimate_withdraw(version=version, by=tech),
        lambda: services.answers_keep(version=version, answers={1: "approved"}, name="x", noted_by=tech),
    ):
        with pytest.raises(Refused):
            change()


def test_a_car_that_was_handed_over_gets_no_estimate(job: Job, counter: User) -> None:
    Job.objects.filter(pk=job.pk).update(stage=Stage.GONE, finished_at=timezone.now())
    job.refresh_from_db()
    with pytest.raises(Conflict, match="Open a new job"):
        services.estimate_make(job=job, by=counter, from_plan=False)


def test_what_is_agreed_is_what_was_approved_in_the_version_that_counts(job: Job, counter: User) -> None:
    version, _token = sent(job, counter)
    labour, part = _pks(version)
    services.answers_keep(version=version, answers={labour: "approved", part: "declined"}, name="Ada")
    (shown,) = estimate_of(job)
    newest = shown.newest
    sums = (newest.total.net, newest.approved.net, newest.declined.net, newest.waiting.net)
    assert sums == (Decimal("221.35"), Decimal("180.00"), Decimal("41.35"), Decimal(0))
    assert not newest.waits
    newer = services.version_next(version=version, by=counter)
    assert actual_against_approved(job)[-1].approved == Decimal("180.00")  # a draft changes nothing yet
    services.estimate_send(version=newer, by=counter, to="", hold=False)
    assert actual_against_approved(job)[-1].approved == Decimal(0)
    assert estimate_of(job)[0].newest.waits


def _outlay(job: Job, by: User, price: str) -> Outlay:
    return services.outlay_add(
        job=job, by=by, kind="part", words="Lid switch", quantity=Decimal(1), unit="piece", unit_price=Decimal(price),
        tax_percent=Decimal(20),
    )  # fmt: skip


def test_what_was_agreed_stands_beside_clocks_and_outlays(job: Job, counter: User, tech: User) -> None:
    version, _token = sent(job, counter)
    services.answers_keep(version=version, answers=dict.fromkeys(_pks(version), "approved"), name="Ada")
    task = Task.objects.create(job=job, number=1, title="Switch", planned_minutes=120)
    at = timezone.now() - dt.timedelta(hours=5)
    Clock.objects.create(task=task, person=tech, started_at=at, stopped_at=at + dt.timedelta(minutes=100))
    Clock.objects.create(task=task, person=counter, started_at=at)  # still runs
    wrong, _right = _outlay(job, counter, "99.99"), _outlay(job, counter, "44.00")
    services.outlay_strike(outlay=wrong, by=counter)
    labour, part, outside, whole = actual_against_approved(job)
    assert (labour.approved, labour.actual, labour.state) == (Decimal("180.00"), Decimal("150.30"), "under")
    assert (part.approved, part.actual, part.state) == (Decimal("41.35"), Decimal("44.00"), "over")
    assert (outside.difference, outside.state) == (0, "even")
    assert (whole.approved, whole.actual) == (Decimal("221.35"), Decimal("194.30"))
    with pytest.raises(Conflict, match="struck already"):
        services.outlay_strike(outlay=wrong, by=counter)


def test_outlays_are_never_read_in_another_currency(job: Job, counter: User, owner: User, client_as: Any) -> None:
    version, _token = sent(job, counter)
    services.answers_keep(version=version, answers=dict.fromkeys(_pks(version), "approved"), name="Ada")
    outlay = _outlay(job, counter, "44.00")
    rates: dict[str, Any] = {
        "opens_at": dt.time(8), "closes_at": dt.time(17), "break_minutes": 30, "work_days": "1111100",
        "hourly_rate": Decimal(95), "tax_percent": Decimal(19),
    }  # fmt: skip
    with pytest.raises(Conflict, match="booked in EUR and would be read as CHF"):
        services.rates_set(by=owner, currency="CHF", **rates)
    services.rates_set(by=owner, currency="EUR", **rates)
    assert "another currency" not in client_as("counter").get(f"/jobs/{job.pk}/outlays/").content.decode()
    services.outlay_strike(outlay=outlay, by=counter)
    services.rates_set(by=owner, currency="CHF", **rates)
    assert actual_against_approved(job)[-1].approved == 0, "what was approved in EUR is no sum in CHF"
    assert "another currency than CHF" in client_as("counter").get(f"/jobs/{job.pk}/outlays/").content.decode()


def test_labour_is_no_outlay(job: Job, counter: User, tech: User) -> None:
    usual = {"words": "x", "quantity": Decimal(1), "unit": "h", "unit_price": Decimal(1), "tax_percent": Decimal(0)}
    with pytest.raises(ShopError, match="labour is what the clocks say"):
        services.outlay_add(job=job, by=counter, kind="labour", **usual)
    with pytest.raises(Refused):
        services.outlay_add(job=job, by=tech, kind="part", **usual)


def test_the_books_have_the_approved_lines_and_the_outlays_of_a_month(job: Job, counter: User) -> None:
    version, _token = sent(job, counter)
    labour, part = _pks(version)
    services.answers_keep(version=version, answers={labour: "approved", part: "declined"}, name="Ada")
    _outlay(job, counter, "44.00")
    old = _outlay(job, counter, "1.00")
    start = timezone.localtime().replace(day=1, hour=0, minute=0, second=0, microsecond=0)
    Outlay.objects.filter(pk=old.pk).update(at=start - dt.timedelta(microseconds=1))
    _head, *rows = books(month=start.date())
    assert [(row[3], row[5], row[9], row[11]) for row in rows] == [
        ("approved", "Replace the lid switch", Decimal("180.00"), Decimal("36.00")),
        ("outlay", "Lid switch", Decimal("44.00"), Decimal("8.80")),
    ]
    assert len(list(books(job=job))) == 4


def test_the_owner_sets_rates_and_hours(owner: User, counter: User) -> None:
    values = {
        "opens_at": dt.time(7, 30), "closes_at": dt.time(16), "break_minutes": 30, "work_days": "1111110",
        "hourly_rate": Decimal("95.50"), "tax_percent": Decimal(19), "currency": "CHF",
    }  # fmt: skip
    services.rates_set(by=owner, **values)
    assert ShopProfile.objects.get().hourly_rate == Decimal("95.50")
    for wrong, words in (
        ({"closes_at": dt.time(7, 30)}, "close later"),
        ({"break_minutes": 510}, "break is as long"),
        ({"work_days": "0000000"}, "at least one day"),
    ):
        with pytest.raises(ShopError, match=words):
            services.rates_set(by=owner, **(values | wrong))
    with pytest.raises(Refused):
        services.rates_set(by=counter, **values)
