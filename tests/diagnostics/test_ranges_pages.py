"""The pages of the failure patterns: numbers, the owner's decision, the cars behind, the file."""

import csv
from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests.diagnostics.learned import START, a_model, keep, keep_one_range, some_months
from tests.diagnostics.learner import found_range

pytestmark = pytest.mark.django_db


def _page(client: Client, at: str) -> str:
    found = client.get(at)
    assert found.status_code == 200
    return found.content.decode()


def test_a_shop_that_learned_nothing_is_told_so(client_as: Callable[[str], Client]) -> None:
    page = _page(client_as("parts"), "/ranges/")
    assert "Nothing was learned yet" in page
    assert "Learn now" in page
    assert "Learn now" not in _page(client_as("counter"), "/ranges/")


def test_a_proposal_waits_for_the_owner_who_alone_decides(client_as: Callable[[str], Client]) -> None:
    row = keep_one_range()
    page = _page(client_as("parts"), "/ranges/")
    assert "Proposals that wait for the owner" in page
    assert "4.1 times as often (2.6 to 6.3)" in page
    assert "Confirm the range" not in _page(client_as("parts"), row.get_absolute_url())
    assert "Confirm the range" in _page(client_as("owner"), row.get_absolute_url())


def test_the_owner_confirms_with_a_note_and_takes_it_back(client_as: Callable[[str], Client]) -> None:
    row, owner = keep_one_range(), client_as("owner")
    at = row.get_absolute_url()
    refused = owner.post(at, {"act": "confirm", "note": " ", "seen": row.version})
    assert "Say why" in refused.content.decode()
    owner.post(at, {"act": "confirm", "note": "The maker says so", "seen": row.version})
    row.refresh_from_db()
    assert (row.state, row.note) == ("confirmed", "The maker says so")
    assert "The maker says so" in _page(owner, at)
    stale = owner.post(at, {"act": "reopen", "seen": row.version - 1})
    assert stale.status_code == 409
    owner.post(at, {"act": "reopen", "seen": row.version})
    row.refresh_from_db()
    assert row.state == "proposed"


def test_page_and_file_say_the_same(client_as: Callable[[str], Client]) -> None:
    row = keep_one_range()
    client = client_as("owner")
    text = client.get("/ranges/rht-trio/file.csv?of=ranges").content.decode("utf-8-sig").splitlines()
    (line,) = csv.DictReader(text)
    found = found_range(START, START + 23)
    assert (line["first_month"], line["last_month"]) == ("2001-01", "2002-12")
    assert float(line["ratio"]) == round(found.ratio.estimate, 1)
    page = _page(client, row.get_absolute_url())
    assert f"{line['ratio']} times as often ({line['ratio_low']} to {line['ratio_high']})" in page
    assert f"{line['inside_failed']} of {line['inside_units']} failed" in page


def test_nothing_in_the_file_is_a_formula(client_as: Callable[[str], Client]) -> None:
    keep([a_model(part="=1+1", ranges=[found_range(START, START + 23)])])
    text = client_as("owner").get("/ranges/rht-trio/file.csv?of=ranges").content.decode("utf-8-sig")
    assert next(csv.DictReader(text.splitlines()))["part"] == "'=1+1"


def test_a_large_system_stays_light_and_asks_little(client_as: Callable[[str], Client]) -> None:
    codes = [f"BG{n}" for n in range(1, 26)]
    months = some_months(codes, months=120, failed_every=2)
    keep(
        [a_model(part=code, positions=[code], months=tuple(m for m in months if m.position == code)) for code in codes]
    )
    client = client_as("owner")
    for at in ("/ranges/rht-trio/", "/ranges/rht-trio/?by=1&position=BG1", "/ranges/"):
        with CaptureQueriesContext(connection) as queries:
            page = _page(client, at)
        assert len(page.encode()) < 150_000
        assert len(queries) < 12


@pytest.mark.parametrize("asked", ["f=2001-13", "f=soon", "m=explodes"])
def test_what_cannot_be_asked_is_told(client_as: Callable[[str], Client], asked: str) -> None:
    found = client_as("parts").get(f"/ranges/rht-trio/cars/?p=BG1&{asked}")
    assert 400 <= found.status_code < 500
    assert asked[2:] in found.content.decode()
