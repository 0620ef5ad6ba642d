"""The study of production ranges: fleets whose truth is known, and what is counted of them."""

import io
import json

import numpy as np
import pytest
from django.core.management import call_command

from diagnostics.learning.study import Cell, Outcome, cells, follow, markdown, outcomes, summary
from diagnostics.learning.study.cells import Match
from diagnostics.learning.study.fleets import MODES, MONTHS, POSITIONS, START, TrueRange, fleet
from diagnostics.management.commands import study_ranges


def test_a_fleet_is_seen_as_a_shop_sees_its_cars():
    (spells, _life), *others = fleet(3, 2000, [TrueRange(START, START + 29, 4.0)])
    assert len(others) == POSITIONS * MODES - 1
    assert np.all(spells.entry <= spells.good)
    assert np.all(spells.good < spells.failed)
    assert spells.month.min() == START
    assert spells.month.max() < START + MONTHS
    assert np.all(spells.month[spells.year_only] % 12 == 0)
    assert 0.07 < spells.year_only.mean() < 0.13
    assert 0.0 < np.mean(spells.entry > 0) < 0.12
    assert np.all(np.bincount(spells.climate) > 200)


def test_the_part_with_a_range_fails_more_in_it():
    spells, life = fleet(3, 4000, [TrueRange(START, START + 59, 5.0)], whole=False)[0]
    inside = spells.month < START + 60
    exposure = np.where(spells.has_failed, spells.good, spells.good) ** life.shape
    rate = [spells.has_failed[one].sum() / exposure[one].sum() for one in (inside, ~inside)]
    assert rate[0] > 2.5 * rate[1]


def test_the_same_seed_gives_the_same_fleets():
    cell = Cell(100, "early", 5.0, whole=False)
    assert follow(cell, 4) == follow(cell, 4)


def test_a_strong_range_is_found_where_it_is():
    told = follow(Cell(3000, "third", 5.0, whole=False), 2)
    assert told.matches[0].found
    assert abs(told.matches[0].ratio_error) < 0.4
    assert told.false == 0


def test_every_size_is_looked_at_with_and_without_ranges():
    chosen = cells((100, 300))
    assert {(cell.kind, cell.ratio) for cell in chosen if cell.cars == 300} == {
        ("none", 1.0),
        *((kind, ratio) for kind in ("early", "middle", "two") for ratio in (2.0, 3.0, 5.0)),
    }


def test_the_table_counts_what_was_found_and_what_was_not():
    cell = Cell(1000, "early", 3.0, whole=False)
    hit = Match(found=True, ends=(True,), ratio_in=False, ratio_error=float(np.log(1.1)))
    rows = summary([Outcome(cell, 1, 0, (hit,)), Outcome(cell, 1, 1, (Match(found=False),))])
    assert (rows[0].found, rows[0].false, rows[0].ends, rows[0].ratio) == (0.5, 0.5, 1.0, 0.0)
    assert rows[0].bias == pytest.approx(0.1)
    assert markdown(rows).splitlines()[-1] == "| 1,000 | early | 3 | often | 1 | 2 | 50% | 50% | 100% | 0% | +10% |"


def test_a_table_of_nothing_found_stays_empty_where_nothing_can_be_counted():
    row = summary([Outcome(Cell(100, "none", 1.0, whole=True), 36, 0, ())])
    assert markdown(row).splitlines()[-1] == "| 100 | none |  |  | 36 | 1 |  | 0% |  |  |  |"


def test_the_command_writes_one_object(monkeypatch):
    few = [Cell(100, "early", 5.0, whole=False)]
    monkeypatch.setattr(study_ranges, "cells", lambda sizes: few)
    out = io.StringIO()
    call_command("study_ranges", "--repeats", "2", "--json", stdout=out)
    told = json.loads(out.getvalue())
    assert told["rows"][0]["fleets"] == 2
    assert told["rows"][0]["cell"]["cars"] == 100


def test_whoever_follows_the_fleets_finds_the_same():
    few = [Cell(100, "early", 5.0, whole=False)]
    assert list(outcomes(few, 2, 1, map)) == list(outcomes(few, 2, 1, lambda do, tasks: [do(one) for one in tasks]))
