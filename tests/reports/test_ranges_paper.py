"""The paper of the failure patterns: the words and numbers of the page, whole and in print without colour."""

from collections.abc import Callable
from datetime import UTC, datetime

import pytest
from django.test import Client
from django.urls import reverse

from diagnostics.charts.words import caution_sentences, estimate_words, range_sentence
from diagnostics.models import ProductionRange
from diagnostics.selectors.ranges import system_patterns
from reports.ranges import ranges_pdf
from shop.models import User
from tests.diagnostics.bench import publish
from tests.diagnostics.learned import keep_one_range
from tests.reports.test_draw import pages_of

AT = datetime(2026, 11, 25, 10, 40, tzinfo=UTC)
pytestmark = pytest.mark.django_db


@pytest.fixture
def a_range(owner: User) -> ProductionRange:
    publish(owner)
    return keep_one_range()


def _told(pdf: bytes) -> str:
    return " ".join(" ".join(pages_of(pdf)).split())


def test_a_range_is_told_as_on_the_page(a_range: ProductionRange) -> None:
    found = system_patterns("rht-trio", grain=3)
    assert found is not None
    one = found.ranges[0]
    pdf = ranges_pdf("rht-trio", AT)
    assert pdf is not None
    told = _told(pdf)
    assert range_sentence(one.name, one.row.mode, one.range) in told
    assert estimate_words(one.range.ratio) in told
    for sentence in caution_sentences():
        assert sentence in told
    assert "Proposed" in told
    for row in found.strip.rows:
        assert f"{row.position} {row.name} {row.units} {row.failed}" in told
    assert ranges_pdf("rht-trio", AT) == pdf, "the same content gives the same bytes"


def test_a_decision_stands_with_who_and_why(a_range: ProductionRange, owner: User) -> None:
    from diagnostics.services.ranges import range_confirm

    range_confirm(range=a_range, by=owner, note="Seen on the bench, too", seen_version=a_range.version)
    pdf = ranges_pdf("rht-trio", AT)
    assert pdf is not None
    told = _told(pdf)
    assert f"Confirmed by {owner}" in told
    assert "Seen on the bench, too" in told


def test_nothing_learned_yet_is_said(owner: User) -> None:
    publish(owner)
    pdf = ranges_pdf("rht-trio", AT)
    assert pdf is not None
    assert "Nothing was learned" in _told(pdf)


def test_the_page_links_to_the_paper(a_range: ProductionRange, client_as: Callable[[str], Client]) -> None:
    client = client_as("parts")
    at = reverse("reports:ranges-paper", args=["rht-trio"])
    assert at in client.get(reverse("diagnostics:ranges-system", args=["rht-trio"])).content.decode()
    answer = client.get(at)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    assert client.get(reverse("reports:ranges-paper", args=["no-such-top"])).status_code == 404
