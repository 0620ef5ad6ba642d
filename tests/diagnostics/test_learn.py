"""What the learning as a whole says of a file, and that it says the same of the same data."""

import json
from dataclasses import replace

import numpy as np
import pytest

from diagnostics.learning.answer import as_json
from diagnostics.learning.columns import COLUMNS, Observations
from diagnostics.learning.learn import learn
from diagnostics.learning.records import Decision, PartModel
from diagnostics.learning.stored import from_json, to_json
from tests.diagnostics.sightings_file import read, rows_of

FIRST, END = 2003 * 12, 2004 * 12 + 11


@pytest.fixture(scope="module")
def rows():
    return rows_of(400)


@pytest.fixture(scope="module")
def learned(rows):
    return learn(read(rows)[0])


def told(learned):
    """All that is said, as one text."""
    return json.dumps(as_json(learned), sort_keys=True)


def test_the_range_that_is_there_is_found_and_no_other(learned):
    ((model, one),) = [(model, one) for model in learned.models for one in model.ranges]
    assert model.population.positions == ("BG1", "BG2")
    assert one.found
    assert one.probability > 0.99
    assert one.first_set[0] <= FIRST <= one.first_set[1] + 1
    assert one.last_set[0] <= END <= one.last_set[1]
    assert one.ratio.low <= 6.0 <= one.ratio.high
    assert model.used == (one,)
    assert model.fit.names == ("log_scale", "log_shape", "hot", "cold", "at:BG1", "at:BG2", "range:1")


def test_what_was_put_in_comes_out(learned):
    a, b = learned.models
    assert (a.population.part, b.population.part) == ("A-1", "B-2")
    assert a.fit.shape == pytest.approx(1.7, rel=0.2)
    assert b.fit.scale_years == pytest.approx(22, rel=0.2)
    assert (learned.cars, learned.units) == (1200, 1200)
    assert sum(month.failed for month in a.months) == a.tally.failed
    assert sum(month.expected for month in b.months) == pytest.approx(b.tally.failed, rel=0.1)
    assert [curve.label for curve in a.curves] == ["inside", "outside"]
    assert [curve.label for curve in b.curves] == ["all"]


def test_the_order_of_rows_does_not_matter(rows, learned):
    again = learn(read(list(np.random.default_rng(1).permutation(rows)))[0])
    assert told(again) == told(learned)
    assert again.fingerprint == learned.fingerprint


def test_a_row_that_stands_twice_changes_nothing_but_what_was_skipped(rows, learned):
    observations, skipped = read([*rows, *rows[:50]])
    again = learn(observations, skipped=skipped)
    assert len(again.skipped) == 50
    assert told(replace(again, skipped=())) == told(learned)


def test_a_file_in_two_halves_joined_again_tells_the_same(rows, learned):
    mine = read(rows)[0]
    half = len(mine) // 2
    joined = Observations(
        **{name: np.concatenate([getattr(mine, name)[half:], getattr(mine, name)[:half]]) for name in COLUMNS},
        **{name: getattr(mine, name) for name in ("systems", "positions", "parts", "revisions", "modes")},
    )
    assert told(learn(joined)) == told(learned)


def test_other_names_change_nothing_but_names(rows, learned):
    renamed = [row.replace("-BG", "/BG").replace("c", "k", 1).replace("stays-made", "zz") for row in rows]
    renamed = [row.replace(",s1,", ",a-top,").replace("A-1", "a 1").replace("B-2", "b 2") for row in renamed]
    text = told(learn(read(renamed)[0]))
    for new, old in (("zz", "stays-made"), ("a-top", "s1"), ("a 1", "A-1"), ("b 2", "B-2")):
        text = text.replace(f'"{new}"', f'"{old}"')
    mine, other = json.loads(told(learned)), json.loads(text)
    assert mine.pop("fingerprint") != other.pop("fingerprint")
    assert mine == other


def test_one_part_alone_is_learned_as_among_all(rows, learned):
    (alone,) = learn(read([row for row in rows if "B-2" in row])[0]).models
    assert to_json(alone) == to_json(learned.models[1])


def test_a_model_whose_data_are_the_same_is_taken_over(rows, learned):
    again = learn(read(rows)[0], known=learned.models)
    assert all(mine is other for mine, other in zip(again.models, learned.models, strict=True))
    more = [row for row in rows if not row.startswith("c7-BG3")]
    changed = learn(read(more)[0], known=learned.models)
    assert changed.models[0] is learned.models[0]
    assert changed.models[1].fingerprint != learned.models[1].fingerprint


def test_a_dismissed_range_is_kept_and_not_used(rows, learned):
    one = learned.models[0].ranges[0]
    dismissed = Decision("s1", "A-1", "stays-made", one.first, one.last, "dismissed")
    model = learn(read(rows)[0], decisions=[dismissed]).models[0]
    assert [(kept.state, kept.first, kept.last) for kept in model.ranges] == [("dismissed", one.first, one.last)]
    assert not model.used
    assert "range:1" not in model.fit.names
    assert model.fingerprint != learned.models[0].fingerprint


def test_progress_tells_each_part_and_may_call_the_learning_off(rows):
    heard = []
    learn(read(rows[:40])[0], progress=lambda *told: heard.append(told))
    assert heard == [(0, 2, "s1 A-1"), (1, 2, "s1 B-2"), (2, 2, "")]

    def stop(_done, _total, _words):
        raise InterruptedError

    with pytest.raises(InterruptedError):
        learn(read(rows)[0], progress=stop)


@pytest.mark.parametrize(
    "rows",
    [
        ["u1,s1,BG1,A-1,2004-03,,hot,2012-05-06,good,"],
        ["u1,s1,BG1,A-1,2004-03,,hot,2012-05-06,failed,stuck"],
        [f"u{n},s1,BG1,A-1,2004-03,,hot,2012-05-{n + 1:02d},failed,stuck" for n in range(20)],
        [f"u{n},s1,BG1,A-1,2004,,hot,20{10 + n}-05-06,good," for n in range(10)],
        [f"u{n},s1,BG1,A-1,20{n:02d}-03,20{n:02d}-04-01,cold,2024-05-06,failed,stuck" for n in range(20)],
    ],
    ids=["one car, good", "one car, failed", "one month, all failed", "none failed, years only", "none original"],
)
def test_few_and_one_sided_data_give_a_sane_answer(rows):
    learned = learn(read(rows)[0])
    (model,) = learned.models
    assert not model.used
    assert model.tally.units == len(rows)
    assert 0.5 < model.fit.shape < 6
    assert 0.5 < model.fit.scale_years < 2000
    json.dumps(as_json(learned), allow_nan=False)


def test_nothing_seen_gives_nothing():
    learned = learn(read([])[0])
    assert learned.models == ()
    assert learned.cars == learned.checks == 0


def test_a_model_comes_back_from_json_as_it_was(learned):
    for model in learned.models:
        text = json.dumps(to_json(model), allow_nan=False, sort_keys=True)  # a database gives keys in its own order
        again = from_json(json.loads(text))
        assert isinstance(again, PartModel)
        assert to_json(again) == to_json(model)
        assert again.population == model.population
        assert again.population.positions == model.population.positions
        assert (again.fit.covariance == model.fit.covariance).all()
        assert again.ranges == model.ranges
        assert again.curves == model.curves
        assert again.months == model.months
        assert again.log_bayes == model.log_bayes
