"""The demand of parts from what fails in which car: month by month, by source, with its uncertainty."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from diagnostics.learning.fleet import Cohort, Draws, Fleet, Way, groups_of, half_made, hazards
from parts.planning.coming import Coming
from parts.planning.demand import Demand, asked_in, demand, who_will_need
from tests.diagnostics.learner import found_range
from tests.parts.fleets import NOW, a_cohort, a_fleet, a_model, some_cars

DRAWN = Draws()


def all_come(fleet: Fleet, *, chance: float = 1.0, arrivals: float = 0.0, pieces: float = 0.0) -> Coming:
    draws = DRAWN.count
    return Coming(
        ours=np.ones(len(fleet.cars)),
        chance=np.full(len(fleet.cars), chance),
        relative=np.ones(draws),
        brought=chance,
        arrivals=np.full((draws, 24), arrivals),
        growth=1.0,
        pieces={one.position: np.full(draws, pieces) for one in fleet.fitted},
    )


def asked_of(
    fleet: Fleet, come: Coming, place: str = "BG1", months: int = 12, suspects: Sequence[float] = ()
) -> Demand:
    return demand([asked_in(fleet, come, [f"P-{place}"], [place])], DRAWN, months, suspects)


def one_place(count: int = 40, **model: float) -> Fleet:
    cars = some_cars(count)
    return a_fleet(cars, [a_cohort(cars, "BG1", [Way(a_model("BG1", **model), 1.0)])])


def good_until(cohort: Cohort, fleet: Fleet, months: int) -> np.ndarray:
    """(draws, units): chance to be good so many months from now, by the Weibull law as it is written in books."""
    hazard = np.zeros((DRAWN.count, len(cohort.car)))
    for way, since in zip(cohort.ways, cohort.since, strict=True):
        drawn = DRAWN(way.model)
        climates = np.column_stack([np.zeros(DRAWN.count), drawn.effects["hot"], drawn.effects["cold"]])
        age = (fleet.now - since) / 24
        scale, shape = np.exp(drawn.log_scale)[:, None], np.exp(drawn.log_shape)[:, None]
        more = ((age + months / 12) / scale) ** shape - (age / scale) ** shape
        hazard += way.share * np.exp(climates[:, fleet.cars.climate[cohort.car]]) * more
    return np.exp(-hazard)


def mixed(chances: np.ndarray) -> np.ndarray:
    """scipy's distribution of each draw, and their mean: (draws, units) -> (units + 1,)."""
    counts = np.arange(chances.shape[1] + 1)
    return np.mean([stats.poisson_binom.pmf(counts, one) for one in chances], axis=0)


def widened(pmf: np.ndarray, length: int) -> np.ndarray:
    return np.concatenate([pmf, np.zeros(max(length - len(pmf), 0))])[:length]


def test_each_month_is_the_sum_of_what_fails_in_each_car() -> None:
    """Against scipy.stats.poisson_binom of every draw by itself."""
    fleet = one_place(40, years=9.0)
    come = replace(all_come(fleet), chance=np.random.default_rng(1).random(40), relative=np.linspace(0.8, 1.2, 100))
    found, cohort = asked_of(fleet, come), fleet.fitted[0]
    for month in (0, 5, 11):
        fails = good_until(cohort, fleet, month) - good_until(cohort, fleet, month + 1)
        exact = mixed(fails * come.relative[:, None] * come.chance)
        assert widened(found.months[month].chances, 41) == pytest.approx(exact, abs=1e-11)
        assert found.months[month].mean == pytest.approx(float(exact @ np.arange(41)), abs=1e-10)
    fails = 1 - good_until(cohort, fleet, 12)
    exact = mixed(fails * come.relative[:, None] * come.chance)
    assert widened(found.whole.chances, 41) == pytest.approx(exact, abs=1e-11)


def test_units_that_are_most_likely_to_fail_are_counted_as_exactly() -> None:
    """Nine in ten of them within two years: too likely for the series of the unlikely ones."""
    fleet = one_place(30, years=4.0, shape=2.5)
    found = asked_of(fleet, all_come(fleet), months=24)
    exact = mixed(1 - good_until(fleet.fitted[0], fleet, 24))
    assert widened(found.whole.chances, 31) == pytest.approx(exact, abs=1e-11)
    assert exact @ np.arange(31) > 20


def test_the_three_sources_are_told_and_make_the_mean() -> None:
    fleet = one_place(60)
    come = all_come(fleet, chance=0.5, arrivals=3.0, pieces=0.1)
    found = asked_of(fleet, come, months=6, suspects=[0.6, 0.25])
    first, second = found.months[:2]
    assert (first.jobs, second.jobs, found.whole.jobs) == (pytest.approx(0.85), 0.0, pytest.approx(0.85))
    assert (first.unseen, found.whole.unseen) == (pytest.approx(0.3), pytest.approx(1.8))
    assert first.known == pytest.approx(asked_of(fleet, all_come(fleet), months=6).months[0].known / 2)
    for one in (*found.months, found.whole):
        assert one.chances @ np.arange(len(one.chances)) == pytest.approx(one.mean, abs=1e-9)
        assert one.chances.sum() == pytest.approx(1, abs=1e-12)


def test_open_jobs_alone_are_asked_for_without_any_model() -> None:
    found = demand([], DRAWN, 3, [0.5, 0.5])
    assert found.months[0].chances == pytest.approx([0.25, 0.5, 0.25])
    assert found.months[1].chances == pytest.approx([1.0])
    assert (found.months[0].low, found.months[0].median, found.months[0].high) == (0, 1, 2)


def test_new_cars_alone_are_poisson() -> None:
    fleet = one_place(0)
    found = asked_of(fleet, all_come(fleet, arrivals=20.0, pieces=0.1))
    assert widened(found.months[3].chances, 12) == pytest.approx(stats.poisson.pmf(np.arange(12), 2.0), abs=1e-12)


def test_a_new_unit_counts_from_when_it_was_fitted() -> None:
    cars = some_cars(50)
    way = Way(a_model("BG1", shape=2.5), 1.0)
    old = a_fleet(cars, [a_cohort(cars, "BG1", [way])])
    new = a_fleet(cars, [a_cohort(cars, "BG1", [way], fitted=np.full(50, NOW - 12))])
    assert asked_of(new, all_come(new)).whole.known < asked_of(old, all_come(old)).whole.known / 5


def _taken(cohort: Cohort, rows: np.ndarray) -> Cohort:
    return replace(cohort, car=cohort.car[rows], since=cohort.since[:, rows], until=cohort.until[rows])


def test_what_was_mended_in_place_counts_anew_in_that_way_only() -> None:
    cars = some_cars(50, months=3)
    ways = [Way(a_model("BG1", mode, shape=2.5), 1.0) for mode in ("leaks", "binds")]
    as_made = a_cohort(cars, "BG1", ways)
    mended = replace(as_made, since=np.stack([as_made.since[0], np.full(50, NOW - 2)]))
    whole, half = (asked_of(a_fleet(cars, [one]), all_come(a_fleet(cars, [one]))).whole for one in (as_made, mended))
    assert 0.4 * whole.known < half.known < 0.6 * whole.known
    lately = np.where(np.arange(50) % 2, NOW - 2, as_made.since[0])
    some = a_fleet(cars, [replace(as_made, since=np.stack([as_made.since[0], lately]))])
    assert asked_of(some, all_come(some)).whole.known == pytest.approx(
        sum(
            asked_of(fleet, all_come(fleet)).whole.known
            for fleet in (
                a_fleet(cars, [a_cohort(cars, "BG1", ways, of=np.arange(0, 50, 2))]),
                a_fleet(cars, [_taken(mended, np.arange(1, 50, 2))]),
            )
        )
    )


def test_only_failures_that_need_the_part_ask_for_it() -> None:
    cars = some_cars(50)
    some, every = (a_fleet(cars, [a_cohort(cars, "BG1", [Way(a_model("BG1"), share)])]) for share in (0.1, 1.0))
    rarely, always = asked_of(some, all_come(some)).whole.known, asked_of(every, all_come(every)).whole.known
    assert rarely == pytest.approx(0.1 * always, rel=0.05)


def test_units_of_what_a_part_supersedes_ask_for_it_and_others_do_not() -> None:
    cars = some_cars(30)
    first, second = np.arange(10), np.arange(10, 30)
    way = Way(a_model("BG1"), 1.0)
    old = replace(a_cohort(cars, "BG1", [way], of=first), part="OLD")
    own = a_cohort(cars, "BG1", [way], of=second)
    elsewhere = replace(a_cohort(cars, "BG2", [way]), part="OLD")
    fleet = a_fleet(cars, [old, own, elsewhere])
    come = all_come(fleet)

    def known(*numbers: str, places: tuple[str, ...] = ("BG1",)) -> float:
        return demand([asked_in(fleet, come, numbers, places)], DRAWN, 12).whole.known

    assert known("P-BG1", "old") == pytest.approx(known("P-BG1") + known("OLD"))
    assert known("P-BG1") > known("OLD") > 0
    assert known("OTHER") == 0
    assert known("OLD", places=("BG1", "BG2")) > 2 * known("OLD")


def test_cars_of_a_production_range_ask_more() -> None:
    cars = some_cars(80)
    early = int(np.sort(cars.month)[39])
    plain = a_model("BG1")
    fit = replace(
        plain.fit,
        names=(*plain.fit.names, "range:1"),
        estimate=np.append(plain.fit.estimate, np.log(5.0)),
        covariance=np.diag([*np.diag(plain.fit.covariance), 0.01]),
    )
    ranges = (found_range(int(cars.month.min()), early),)
    ranged = replace(plain, fit=fit, ranges=ranges, population=replace(plain.population, part="RANGED"))
    fleet = a_fleet(cars, [a_cohort(cars, "BG1", [Way(ranged, 1.0)])])

    def mean_hazard(way: Way) -> np.ndarray:
        cohort = a_cohort(cars, "BG1", [way])
        groups = groups_of(cohort, cars)
        return hazards(cohort, groups, NOW, [12], DRAWN).mean(axis=0)[0][groups.which]

    inside = cars.month <= early
    ratio = mean_hazard(Way(ranged, 1.0)) / mean_hazard(Way(plain, 1.0))
    assert ratio[inside] == pytest.approx(5.0, rel=0.15)
    assert ratio[~inside] == pytest.approx(1.0, rel=0.15)
    first = who_will_need([asked_in(fleet, all_come(fleet), ["P-BG1"], ["BG1"])], DRAWN)[0]
    assert first.month <= early


def test_what_is_not_known_of_the_part_is_wrong_in_all_months_alike() -> None:
    fleet = one_place(2000, sd=0.4)
    found = asked_of(fleet, all_come(fleet))
    alone = np.ones(1)
    for one in found.months:
        alone = np.convolve(alone, one.chances)

    def mean_and_variance(pmf: np.ndarray) -> tuple[float, float]:
        counts = np.arange(len(pmf))
        mean = float(pmf @ counts)
        return mean, float(pmf @ (counts - mean) ** 2)

    apart, together = mean_and_variance(alone), mean_and_variance(found.whole.chances)
    assert together[1] > 2 * apart[1]
    assert together[0] == pytest.approx(apart[0], rel=1e-6)


def test_eight_months_in_ten_lie_within_their_band() -> None:
    """400 shops, 12 months each, whose units fail by a law that is drawn from what is believed."""
    fleet, shops = one_place(400, years=14.0, sd=0.25), 400
    come = all_come(fleet, chance=0.6, arrivals=4.0, pieces=0.15)
    found, cohort, rng = asked_of(fleet, come), fleet.fitted[0], np.random.default_rng(6)
    groups = groups_of(cohort, fleet.cars)
    good = np.exp(-hazards(cohort, groups, fleet.now, range(13), Draws(shops)))[:, :, groups.which]
    falls, comes = rng.random((shops, 400)), rng.random((shops, 400)) < 0.6
    within, least = [], []
    for month, told in enumerate(found.months):
        fails = (good[:, month] >= falls) & (falls > good[:, month + 1]) & comes
        asked = fails.sum(axis=1) + rng.poisson(4.0 * 0.15, shops)
        within.append((asked >= told.low) & (asked <= told.high))
        least.append(told.chances[told.low : told.high + 1].sum())
    assert np.mean(within) == pytest.approx(np.mean(least), abs=0.03)
    assert np.mean(least) >= 0.8


def test_who_will_need_it_comes_likeliest_first() -> None:
    fleet = one_place(30, shape=2.5)
    come = replace(all_come(fleet), chance=np.where(np.arange(30) == 4, 0.01, 1.0))
    told = who_will_need([asked_in(fleet, come, ["P-BG1"], ["BG1"])], DRAWN, most=29)
    need = [one.fails * one.comes for one in told]
    assert need == sorted(need, reverse=True)
    assert len(told) == 29
    assert 1004 not in [one.car for one in told]
    fails = 1 - good_until(fleet.fitted[0], fleet, 12).mean(axis=0)
    for one in told:
        assert one.fails == pytest.approx(fails[one.car - 1000])
        assert one.month == fleet.cars.month[one.car - 1000]


@pytest.mark.parametrize(("months", "count"), [(12, 4), (7, 3), (1, 1)])
def test_the_quarters_of_a_car_add_up_to_its_chance(months: int, count: int) -> None:
    fleet = one_place(30, shape=2.5)
    told = who_will_need([asked_in(fleet, all_come(fleet), ["P-BG1"], ["BG1"])], DRAWN, months)
    for one in told:
        good = good_until(fleet.fitted[0], fleet, 3).mean(axis=0)[one.car - 1000]
        assert len(one.quarters) == count
        assert sum(one.quarters) == pytest.approx(one.fails)
        assert months < 3 or one.quarters[0] == pytest.approx(1 - good)


def test_a_year_without_a_month_counts_from_its_middle() -> None:
    assert half_made(np.array([2010 * 12, 2010 * 12]), np.array([False, True])).tolist() == [48241, 48252]


@pytest.mark.parametrize("months", [0, 25])
def test_what_nobody_plans_for_is_refused(months: int) -> None:
    with pytest.raises(ValueError, match="expected 1 to 24 months"):
        demand([], DRAWN, months)
