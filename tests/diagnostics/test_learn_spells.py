"""Lives of units out of what was seen of them."""

from dataclasses import replace
from datetime import date

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.learning.spells import groups_of, modes_of, spells_of
from tests.diagnostics.sightings_file import HEADING, read, rows_of


def row(seen, told="good,", unit="u1", fitted="", made="2004-01", place="BG1", car="", known=""):
    return f"{unit},s1,{place},A-1,{made},{fitted},temperate,{seen},{told},{car},{known}"


def lives(*rows, mode="stuck", change=lambda one: one):
    observations, skipped = read(rows, heading=HEADING + ",car,known_from")
    assert not skipped
    return [spells for group in groups_of(change(observations)) for spells in spells_of(group, mode)]


def mended(observations):
    return replace(observations, mended=observations.failed >= 0)


def ages(spells):
    return [
        (round(float(good), 2), round(float(failed), 2))
        for good, failed in zip(spells.good, spells.failed, strict=True)
    ]


def test_a_failure_came_between_the_last_good_day_and_the_first_failed_one():
    (spells,) = lives(row("2010-01-15"), row("2008-01-15"), row("2012-01-15", "failed,stuck"))
    assert ages(spells) == [(6.0, 8.0)]
    assert spells.population.original


def test_a_unit_seen_once_is_known_to_have_failed_before_or_not():
    (spells,) = lives(row("2010-01-15"), row("2012-01-15", "failed,stuck", unit="u2"))
    assert sorted(ages(spells)) == [(0.0, 8.0), (6.0, np.inf)]


def test_a_unit_that_failed_in_another_way_says_nothing_of_this_one():
    (spells,) = lives(row("2010-01-15"), row("2012-01-15", "failed,leaks"), row("2012-01-15", "failed,stuck", unit="x"))
    assert sorted(ages(spells)) == [(0.0, 8.0), (6.0, np.inf)]


def test_a_unit_fitted_later_is_a_population_of_its_own_from_its_own_day():
    originals, later = lives(
        row("2010-01-15", "failed,stuck"), row("2013-03-01", unit="u2", fitted="2010-03-01", car="c1")
    )
    assert originals.population.original
    assert not later.population.original
    assert ages(later) == [(3.0, np.inf)]


def test_what_was_mended_in_place_starts_anew():
    originals, later = lives(
        row("2010-01-15", "failed,stuck"),
        row("2010-01-15"),
        row("2012-01-15"),
        row("2014-01-15", "failed,stuck"),
        change=mended,
    )
    assert ages(originals) == [(0.0, 6.0)]
    assert ages(later) == [(2.0, 4.0)]


def test_good_after_a_failure_is_of_a_mended_unit_and_the_failure_told_again_is_one():
    originals, later = lives(row("2010-01-15", "failed,stuck"), row("2011-01-15", "failed,stuck"), row("2013-01-15"))
    assert ages(originals) == [(0.0, 6.0)]
    assert ages(later) == [(3.0, np.inf)]


def test_a_history_that_begins_late_counts_from_there_on():
    (spells,) = lives(
        row("2010-01-15", known="2009-01-15"),
        row("2008-01-15", "failed,stuck", unit="u2", known="2009-01-15"),
        row("2008-01-15", unit="u3", known="2009-01-15"),
        row("2012-01-15", unit="u3", known="2009-01-15"),
    )
    assert [round(float(one), 1) for one in spells.entry] == [5.0, 5.0]
    assert ages(spells) == [(6.0, np.inf), (8.0, np.inf)]


def test_twins_of_a_part_are_one_population_with_two_places():
    (spells,) = lives(row("2010-01-15"), row("2010-01-15", unit="u2", place="BG2"))
    assert spells.population.positions == ("BG1", "BG2")
    assert sorted(spells.position) == [0, 1]


def test_a_check_in_the_month_of_production_has_an_age():
    (spells,) = lives(row("2004-01-02", "failed,stuck"))
    assert 0 < spells.failed[0] < 0.01


def test_bits_tell_which_modes_a_unit_was_seen_good_in():
    observations, _none = read([f"u1,s1,BG1,A-1,2004-01,,hot,{day},good," for day in ("2010-01-15", "2012-01-15")])
    bits = replace(observations, good=np.array([0b11, 0b01]), modes=("a", "b", "c"))
    (group,) = groups_of(bits)
    assert modes_of(group) == ("a", "b")
    found = {mode: [ages(one) for one in spells_of(group, mode)] for mode in ("a", "b", "c")}
    assert found == {"a": [[(8.0, np.inf)]], "b": [[(6.0, np.inf)]], "c": []}


days = st.dates(min_value=date(2004, 1, 1), max_value=date(2024, 1, 1))
sighting = st.tuples(st.integers(0, 4), days, st.sampled_from(["good,", "failed,stuck", "failed,leaks"]), st.booleans())


@settings(max_examples=60, deadline=None)
@given(st.lists(sighting, min_size=1, max_size=25), st.randoms(), st.sampled_from(["", "2008-02-03"]))
def test_ends_are_in_order_and_the_order_of_rows_does_not_matter(seen, rng, known):
    rows = list(dict.fromkeys(row(day.isoformat(), told, unit=f"u{unit}", known=known) for unit, day, told, _m in seen))
    shuffled = rows[:]
    rng.shuffle(shuffled)
    mine, other = lives(*rows), lives(*shuffled)
    assert [one.population for one in mine] == [one.population for one in other]
    for spells, again in zip(mine, other, strict=True):
        assert sorted(ages(spells)) == sorted(ages(again))
        assert (spells.entry >= 0).all()
        assert (spells.good >= spells.entry).all()
        assert (spells.failed >= spells.good).all()
        assert (spells.failed > spells.entry).all()


def test_every_unit_is_in_one_original_life():
    observations, _none = read(rows_of(60))
    groups = list(groups_of(observations))
    assert [group.part for group in groups] == ["A-1", "B-2"]
    assert observations.modes == ("stays-made",)
    units = sum(len(spells.good) for group in groups for spells in spells_of(group, "stays-made"))
    assert units == 180
