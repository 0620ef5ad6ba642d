"""The plain statistics beside the model: who stands in which group, what counts as searched, what old documents say."""

import json
from dataclasses import replace

import numpy as np
import pytest

from diagnostics.learning.plain import adjusted, inside_against_outside, searched
from diagnostics.learning.records import LogRank, Population, Spells
from diagnostics.learning.stored import from_json, to_json
from tests.diagnostics.learned import START, a_model
from tests.diagnostics.learner import found_range

INF = float("inf")


def spells(failed: list[float], month: list[int], *, year_only: bool = False) -> Spells:
    n = len(failed)
    return Spells(
        population=Population("s", "p", "", True, "open", ("BG1",)),
        entry=np.zeros(n),
        good=np.where(np.isfinite(failed), np.array(failed) - 0.5, 9.0),
        failed=np.array(failed),
        month=np.array(month),
        year_only=np.full(n, year_only),
        climate=np.zeros(n, dtype=int),
        position=np.zeros(n, dtype=int),
        car=np.arange(n),
        count=np.ones(n),
    )


def test_units_made_within_the_months_are_set_against_all_others() -> None:
    lives = spells([3.0, 4.0, 5.0, 6.0, INF, INF, INF, INF], [START] * 4 + [START + 24] * 4)
    early, late = (inside_against_outside(lives, (START + at, START + at + 11)) for at in (0, 24))
    assert early.statistic == pytest.approx(-late.statistic)
    assert early.statistic > 1.5  # all four failures are of the early ones
    assert early.p == pytest.approx(late.p)
    assert early.p < 0.02
    assert inside_against_outside(lives, (START, START + 35)).p == 1.0  # nobody outside


@pytest.mark.parametrize(("last", "inside"), [(5, True), (4, False)])
def test_a_car_of_a_known_year_is_where_half_of_its_months_are(last: int, inside: bool) -> None:
    lives = spells([3.0, 4.0, 5.0, 6.0, INF, INF, INF, INF], [START] * 4 + [START + 24] * 4, year_only=True)
    told = inside_against_outside(lives, (START - 12, START + last))
    assert (told.p < 0.02) is inside


def test_ages_count_to_the_month() -> None:
    ages = np.array([3.03, 3.05, 5.03, 5.05])  # who failed a few days before whom within a month says nothing
    lives, other = (spells([*one], [START, START + 24] * 2) for one in (ages, ages[[1, 0, 3, 2]]))
    window = (START, START + 11)
    one, two = (inside_against_outside(replace(which, good=which.failed), window) for which in (lives, other))
    assert one == two


def _told(p: float) -> LogRank:
    return LogRank(3.0, 2.0, 4.5, p, (4.0, 1.0))


def test_what_was_searched_counts_whether_or_not_a_range_was_told() -> None:
    two = [replace(found_range(START + at, START + at + 5), log_rank=_told(p)) for at, p in ((0, 0.04), (12, 0.02))]
    models = {
        "two": a_model(ranges=two),
        "old": a_model(ranges=[found_range(START, START + 5)]),
        "none": a_model(),
        "not searched": replace(a_model(), log_bayes=-INF),
    }
    assert {name: searched(model) for name, model in models.items()} == {
        "two": (0.04, 0.02),
        "old": (1.0,),
        "none": (1.0,),
        "not searched": (),
    }
    # By hand: four results; 0.02 x 4 / 1 = 0.08 and 0.04 x 4 / 2 = 0.08.
    told = adjusted({name: searched(model) for name, model in models.items()})
    assert told["two"] == pytest.approx((0.08, 0.08))
    assert (told["old"], told["none"], told["not searched"]) == ((1.0,), (1.0,), ())


def test_a_model_that_was_kept_before_there_was_a_test_is_still_read() -> None:
    model = a_model(ranges=[replace(found_range(START, START + 5), log_rank=_told(1e-9))])
    document = json.loads(json.dumps(to_json(model)))
    assert from_json(document).ranges[0].log_rank == _told(1e-9)
    del document["ranges"][0]["log_rank"]
    assert from_json(document).ranges[0].log_rank is None
    assert from_json(document).ranges[0].ratio == model.ranges[0].ratio
