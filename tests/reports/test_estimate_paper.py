"""The estimate on paper: word for word what was sent, with the same figures, and what was answered."""

import datetime as dt
import re
from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.document.draw.estimate import draw_estimate
from reports.document.sheets import EstimatePaper, EstimateRow
from reports.papers.estimate import estimate_paper, estimate_pdf
from shop import services
from shop.models import Answer, EstimateVersion, Job, ShopProfile, User, VersionState
from shop.selectors.estimates import versions_with_lines
from tests.diagnostics.bench import words
from tests.reports.test_draw import opened, pages_of
from tests.shop.estimating import drafted, line_of, sent

AT = dt.datetime(2026, 11, 25, 10, 40, tzinfo=dt.UTC)
MONEY = re.compile(r"[A-Z]{3} [\d,]+\.\d\d")


def read(version: EstimateVersion) -> EstimateVersion:
    return versions_with_lines().select_related("estimate__job__car").get(pk=version.pk)


def answer(version: EstimateVersion, *given_answers: str, noted_by: User | None = None) -> None:
    lines = version.lines.order_by("number")
    answers = {line.pk: one for line, one in zip(lines, given_answers, strict=False) if one}
    services.answers_keep(version=version, answers=answers, name="Ada Quill", noted_by=noted_by)


def content(**more: object) -> EstimatePaper:
    usual: dict[str, object] = {
        "shop": "Verdeckwerk Halden", "job": "J00001", "title": "Estimate, version 1", "head": "Halden\nA car",
        "rows": (EstimateRow(1, "1. Labour: Look – 1 h", ("Labour: Look", "1 h", "EUR 9.00", "20 %", "EUR 9.00")),),
        "foot": (("Sum with tax", "EUR 10.80"),), "sums": (), "standing": "open", "notice": "It can be answered.",
        "sent_at": AT, "printed_at": AT,
    }  # fmt: skip
    return EstimatePaper(**(usual | more))  # type: ignore[arg-type]


@pytest.mark.django_db
def test_every_figure_that_was_sent_stands_on_paper_in_the_same_order(
    job: Job, counter: User, shop_profile: ShopProfile
) -> None:
    version = drafted(job, counter)
    line_of(
        version,
        counter,
        words="Seal",
        quantity=Decimal("1.50"),
        unit_price=Decimal("1234.56"),
        tax_percent=Decimal("5.5"),
    )
    services.estimate_words(
        version=version, by=counter, title="Estimate", words="As said at the counter:\n\n1. first\n2. then"
    )
    services.estimate_send(version=version, by=counter, to="", hold=False)
    version = read(version)
    page = " ".join(pages_of(estimate_pdf(version)))
    assert MONEY.findall(page) == MONEY.findall(version.text)
    for block in ("As said at the counter:", "1. first", "2. then", "Gerberstraße 14", str(job.car)):
        assert block in page
    for name, amount in re.findall(r"^(.*?): ([A-Z]{3} .*)$", version.text.rpartition("\n\n")[2], re.MULTILINE):
        assert f"{name} {amount}" in page
    assert "Labour: Replace the lid switch 2 h EUR 90.00 20 % EUR 180.00" in page


@pytest.mark.django_db
def test_words_that_look_like_a_line_stay_words(job: Job, counter: User) -> None:
    version = drafted(job, counter)
    line = "1. Labour: Replace the lid switch – 2 h at EUR 90.00 = EUR 180.00 (tax 20 %)"
    services.estimate_words(version=version, by=counter, title="Estimate", words=f"{line}\n\n{line}")
    services.estimate_send(version=version, by=counter, to="", hold=False)
    found = estimate_paper(read(version))
    assert found.head.count(line) == 2
    assert [row.number for row in found.rows] == [1, 2]


@pytest.mark.django_db
def test_what_can_no_longer_be_told_apart_is_printed_as_it_was_sent(job: Job, counter: User) -> None:
    """Were a kind of cost named otherwise since, what was sent counts."""
    version, _token = sent(job, counter)
    EstimateVersion.objects.filter(pk=version.pk).update(text=version.text.replace("1. Labour:", "1. Work:"))
    found = estimate_paper(read(version))
    assert [bool(row.cells) for row in found.rows] == [False, True]
    page = pages_of(draw_estimate(found))[0]
    assert "Work: Replace the lid switch – 2 h at EUR 90.00 = EUR 180.00 (tax 20 %)" in page
    assert "Labour" not in page.partition("Answers")[0]


@pytest.mark.django_db
def test_who_answered_what_and_when_with_the_sums_of_the_page(
    job: Job, counter: User, client_as: Callable[[str], Client]
) -> None:
    version, _token = sent(job, counter)
    answer(version, Answer.APPROVED)
    answer(read(version), "", Answer.DECLINED, noted_by=counter)
    page = pages_of(client_as("counter").get(f"/estimates/{version.pk}/estimate.pdf").content)[0]
    screen = client_as("counter").get(version.get_absolute_url()).content.decode()
    assert "Labour: Replace the lid switch Approved Ada Quill, " in page
    assert re.search(r"Part: Lid switch Declined Ada Quill, \d+ \w+ \d{4}, \d\d:\d\d · noted by counter", page)
    for name, amount in (("Approved", "EUR 216.00"), ("Declined", "EUR 49.62"), ("Open", "EUR 0.00")):
        assert f"{name} {amount}" in page
        assert f"<dt>{name}</dt><dd>{amount}</dd>" in screen
    assert "Every line is answered." in page
    assert "signature" not in page


@pytest.mark.django_db
def test_the_paper_says_whether_it_still_counts(job: Job, counter: User) -> None:
    version, _token = sent(job, counter)
    page = pages_of(estimate_pdf(read(version)))[0]
    assert "It can be answered until" in page
    assert page.count("approve decline") == 2
    EstimateVersion.objects.filter(pk=version.pk).update(expires_at=timezone.now() - dt.timedelta(days=1))
    page = pages_of(estimate_pdf(read(version)))[0]
    assert "Expired This estimate could be answered until" in page
    assert "approve decline" not in page
    for state, said in ((VersionState.REPLACED, "this one counts no more"), (VersionState.WITHDRAWN, "have withdrawn")):
        EstimateVersion.objects.filter(pk=version.pk).update(state=state)
        assert said in pages_of(estimate_pdf(read(version)))[0]


@pytest.mark.django_db
def test_a_draft_has_no_paper(job: Job, counter: User, client_as: Callable[[str], Client]) -> None:
    version = drafted(job, counter)
    refused = client_as("counter").get(f"/estimates/{version.pk}/estimate.pdf")
    assert refused.status_code == 409
    assert "This version is a draft" in words(refused)
    assert "estimate.pdf" not in client_as("counter").get(version.get_absolute_url()).content.decode()


@pytest.mark.django_db
def test_the_customer_gets_the_same_paper_by_the_private_link_alone(
    job: Job, counter: User, client_as: Callable[[str], Client]
) -> None:
    version, token = sent(job, counter)
    nobody = Client()
    page = nobody.get(f"/e/{token}/").content.decode()
    assert f'href="/e/{token}/estimate.pdf"' in page
    got = nobody.get(f"/e/{token}/estimate.pdf")
    assert got["Content-Type"] == "application/pdf"
    assert got["Referrer-Policy"] == "strict-origin"
    assert "no-store" in got["Cache-Control"]
    assert pages_of(got.content) == pages_of(client_as("owner").get(f"/estimates/{version.pk}/estimate.pdf").content)
    assert nobody.get("/e/guessed/estimate.pdf").status_code == 404
    assert nobody.post(f"/e/{token}/estimate.pdf").status_code == 405


@pytest.mark.django_db
def test_guessing_ends_with_that_at_the_page(job: Job, counter: User) -> None:
    _version, token = sent(job, counter)
    nobody = Client()
    answers = [nobody.get(f"/e/guess{at}/{'estimate.pdf' if at % 2 else ''}").status_code for at in range(32)]
    assert answers[0] == 404
    assert answers[-1] != 404
    assert nobody.get(f"/e/{token}/estimate.pdf").status_code == 200


def test_all_typefaces_are_embedded_and_the_pages_are_counted() -> None:
    row = content().rows[0]
    pdf = draw_estimate(content(rows=tuple(EstimateRow(at, row.text, row.cells) for at in range(1, 101))))
    names = set(re.findall(rb"/BaseFont /([^\s/]+)", pdf))
    assert names
    assert all(b"+" in name for name in names), names
    pages = pages_of(pdf)
    assert len(pages) > 2
    for at, page in enumerate(pages, 1):
        assert f"Page {at} of {len(pages)}" in page
        assert "Estimate, version 1 · J00001" in page
    with opened(pdf) as document:
        assert [one.get_title() for one in document.get_toc()] == ["The estimate", "Answers"]
        assert document.get_metadata_dict()["Title"] == "Estimate, version 1 · J00001"
    assert pdf == draw_estimate(content(rows=tuple(EstimateRow(at, row.text, row.cells) for at in range(1, 101))))


@settings(max_examples=40, deadline=None)
@given(st.text(max_size=300), st.text(max_size=140), st.sampled_from(["open", "answered", "expired", "replaced"]))
def test_no_words_break_it(strange: str, title: str, standing: str) -> None:
    rows = (
        EstimateRow(1, f"1. {strange}", (strange, "1 h", "EUR 1.00", "20 %", "EUR 1.00"), "approved", strange),
        EstimateRow(2, f"2. {strange}"),
    )
    assert pages_of(draw_estimate(content(title=title, head=strange, rows=rows, standing=standing)))


def test_a_letter_that_the_typeface_lacks_is_said_to_be_missing() -> None:
    assert "■ stands for a letter" in pages_of(draw_estimate(content(head="ישראל <b>&amp;")))[0]
    assert "■" not in pages_of(draw_estimate(content(head="Łucja Őszi & <b>")))[0]
