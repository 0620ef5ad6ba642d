"""One found range, told on its page, in the files, on paper and by the command: the same numbers everywhere."""

import csv
import io
import json
import re
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client
from django.utils.html import strip_tags

from diagnostics.charts.words import (
    interval_words,
    month_name,
    p_number,
    p_words,
    percent_words,
    ratio_words,
    share_interval_words,
    share_words,
)
from diagnostics.learning.records import Estimate
from diagnostics.models import BenchSheet, FailureModel, ProductionRange
from diagnostics.selectors.learning import snapshot_of
from diagnostics.services.learning import learning_run
from reports.ranges import ranges_pdf
from tests.diagnostics.fleet import HEADER
from tests.reports.test_draw import pages_of

pytestmark = pytest.mark.django_db
SYSTEM = "/ranges/rht-trio/"


@pytest.fixture
def found(fleet: list[BenchSheet]) -> ProductionRange:
    learning_run()
    return ProductionRange.objects.get(part=HEADER[1], mode="stays-made", state="proposed")


def _command() -> dict[str, Any]:
    """The range as `manage.py learn --json` tells it."""
    out = io.StringIO()
    call_command("learn", "--json", stdout=out)
    (one,) = [one for one in json.loads(out.getvalue())["ranges"] if one["found"]]
    assert isinstance(one, dict)
    return one


def _file(client: Client, of: str) -> list[dict[str, str]]:
    text = client.get(f"{SYSTEM}file.csv", {"of": of}).content.decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def _page(client: Client, found: ProductionRange) -> str:
    return " ".join(strip_tags(client.get(found.get_absolute_url()).content.decode().replace("<", " <")).split())


def _paper() -> str:
    pdf = ranges_pdf("rht-trio", datetime(2026, 11, 25, 10, 40, tzinfo=UTC))
    assert pdf is not None
    return " ".join(" ".join(pages_of(pdf)).split())


def _month(words: str) -> str:
    year, month = map(int, words.split("-"))
    return month_name(year * 12 + month - 1)


def test_page_paper_and_command_say_the_same_of_a_range(
    found: ProductionRange, client_as: Callable[[str], Client]
) -> None:
    told = _command()
    ratio, test = Estimate(**told["hazard_ratio"]), told["log_rank"]
    ends = ("first", "last")
    sets = [f"between {_month(low)} and {_month(high)}" for low, high in (told[f"{end}_set"] for end in ends)]
    words = [
        *[_month(told[f"{end}_month"]) for end in ends if not told[f"open_{end}"]],
        *[one for one, end in zip(sets, ends, strict=True) if not told[f"open_{end}"]],
        f"{ratio_words(ratio.estimate)} times as often ({interval_words(ratio)})",
        f"Among {told['inside']['cars'] + told['outside']['cars']} cars",
        f"{share_words(told['inside']['failed'], told['inside']['units'])} failed",
        f"against {share_words(told['outside']['failed'], told['outside']['units'])}",
        f"a probability of {percent_words(told['probability'])}",
        f"chi square {test['chi2']:.2f}, p {p_words(test['p'])}",
        f"all {test['searched']} results",
        f"(Benjamini and Hochberg) p {p_words(test['p_adjusted'])}",
        "looking at the same data",
    ]
    page, paper = _page(client_as("parts"), found), _paper()
    assert [one for one in words if one not in page] == []
    assert [one for one in words if one not in paper] == []
    for side, name in (("inside", "inside the range"), ("outside", "made before or after it")):
        assert f"{name} {told[side]['cars']} {told[side]['units']} {told[side]['failed']}" in page


def test_the_groups_that_are_tested_are_those_that_are_counted(found: ProductionRange) -> None:
    _model, told = snapshot_of(found)
    test = told.log_rank
    assert test is not None
    assert test.statistic + test.expected[1] == pytest.approx(told.inside.failed)
    assert sum(test.expected) == pytest.approx(told.inside.failed + told.outside.failed)


def test_the_file_says_what_the_command_says(found: ProductionRange, client_as: Callable[[str], Client]) -> None:
    told = _command()
    (line,) = _file(client_as("parts"), "ranges")
    names = ("part", "positions", "mode", "state", "first_month", "last_month")
    assert [line[name] for name in names] == [told[name if name != "positions" else "position"] for name in names]
    sets = [line[f"{end}_set_{side}"] for end in ("first", "last") for side in ("low", "high")]
    assert sets == [*told["first_set"], *told["last_set"]]
    assert [line[name] for name in ("ratio", "ratio_low", "ratio_high")] == [
        str(float(ratio_words(told["hazard_ratio"][name]))) for name in ("estimate", "low", "high")
    ]
    assert float(line["probability"]) == round(told["probability"], 3)
    for side in ("inside", "outside"):
        assert {name: int(line[f"{side}_{name}"]) for name in told[side]} == told[side]
    test = told["log_rank"]
    assert float(line["log_rank_chi2"]) == round(test["chi2"], 2)
    assert float(line["log_rank_p"]) == p_number(test["p"])
    assert float(line["log_rank_p_adjusted"]) == p_number(test["p_adjusted"])


def test_the_years_of_a_range_are_the_same_on_page_paper_and_file(
    found: ProductionRange, client_as: Callable[[str], Client]
) -> None:
    client = client_as("parts")
    years = _file(client, "years")
    page, paper = _page(client, found), _paper()
    assert len(years) == 10
    for one in years:
        seen, failed = int(one["seen"]), int(one["failed"])
        words = share_interval_words(failed, seen)
        told = re.escape(f"{seen} {failed} ") + r"(\d+\.\d) " + re.escape(words)
        inside = one["inside"] == "yes"
        on_page = re.search(f"{one['year']}{' inside' if inside else ''} {told}", page)
        on_paper = re.search(f"{one['year']}{', inside' if inside else ''} {told}", paper)
        assert on_page, one
        assert on_paper, one
        assert on_page[1] == on_paper[1]
        assert float(on_page[1]) == pytest.approx(float(one["expected"]), abs=0.056)
        said = [int(one) for one in re.findall(r"\d+", words)]
        shares = [100 * float(one[name]) for name in ("share", "share_low", "share_high")]
        assert said == pytest.approx(shares, abs=0.56)  # rounded twice
    every = _command()
    assert sum(int(one["failed"]) for one in years) == every["inside"]["failed"] + every["outside"]["failed"]


def test_the_share_of_few_has_a_wide_interval() -> None:
    # By hand (Wilson, nine tenths): 12 of 40 lies within 0.1973 to 0.4283.
    assert share_interval_words(12, 40) == "30 % (20 to 43)"
    assert share_interval_words(0, 2) == "0 % (0 to 57)"


def test_one_that_was_found_before_there_was_a_test_says_nothing_of_it(
    found: ProductionRange, client_as: Callable[[str], Client]
) -> None:
    del found.document["model"]["ranges"][found.document["range"]]["log_rank"]
    found.save()
    client = client_as("parts")
    assert "Log-rank" not in _page(client, found)
    assert "Log-rank" not in _paper()
    assert _file(client, "ranges")[0]["log_rank_p"] == ""


def test_what_else_was_searched_makes_the_adjusted_p_larger(
    found: ProductionRange, client_as: Callable[[str], Client]
) -> None:
    client = client_as("parts")
    before = float(_file(client, "ranges")[0]["log_rank_p_adjusted"])
    row = FailureModel.objects.get(part=HEADER[1], mode="stays-made", original=True)
    count = FailureModel.objects.filter(original=True).exclude(document__log_bayes="-inf").count()
    for number in range(count):
        row.pk, row.part = None, f"TW-OTHER-{number}"
        row.document = {**row.document, "ranges": []}
        row.save()
    assert float(_file(client, "ranges")[0]["log_rank_p_adjusted"]) == pytest.approx(2 * before, rel=0.06)
