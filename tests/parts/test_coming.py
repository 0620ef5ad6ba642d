"""Who comes back and who does not: what the shop's visits say of cars, of their failures and of new cars."""

from dataclasses import replace

import numpy as np
import pytest

from diagnostics.learning.fleet import Cars, Draws, Fleet, Way
from parts.planning.coming import Coming, coming_of, habit_of, log_trend, own_shares, still_ours
from tests.parts.fleets import NOW, a_cohort, a_fleet, a_model, some_cars

DRAWN = Draws()


def coming(fleet: Fleet) -> Coming:
    return coming_of(fleet, DRAWN)


def with_visits(count: int = 300, **columns: np.ndarray) -> Fleet:
    cars = replace(some_cars(count), **columns)
    return a_fleet(cars, [a_cohort(cars, "BG1", [Way(a_model("BG1", years=12.0), 1.0)])], at_first={"BG1": count // 10})


def seen_once(ago: np.ndarray) -> Cars:
    """Cars that came so many half months ago and not again."""
    cars = some_cars(len(ago))
    return replace(cars, first=NOW - ago, last=NOW - ago, visits=np.zeros(len(ago), dtype=np.int64))


def visiting(rng: np.random.Generator, count: int, *, lost: float, rate: float, years: float):
    """(visits after the first, year of the last, years seen, still there) of cars that follow the model."""
    seen = rng.uniform(0.5, years, count)
    visits, last, there = np.zeros(count, dtype=np.int64), np.zeros(count), np.ones(count, dtype=bool)
    for car in range(count):
        own_rate, own_lost = rng.gamma(2.0, rate / 2.0), rng.beta(4.0 * lost, 4.0 * (1 - lost))
        at = 0.0
        while True:
            if rng.random() < own_lost:
                there[car] = False
                break
            at += rng.exponential(1 / own_rate)
            if at > seen[car]:
                break
            visits[car], last[car] = visits[car] + 1, at
    return visits, last, seen, there


def test_a_car_not_seen_for_long_is_probably_gone() -> None:
    cars = some_cars(300)
    first, last, visits = cars.first.copy(), cars.last.copy(), cars.visits.copy()
    first[:2], last[0], last[1], visits[:2] = NOW - 9 * 24, NOW - 6 * 24, NOW - 12, 4
    told = coming(with_visits(first=first, last=last, visits=visits))
    assert told.ours[0] < 0.3
    assert told.ours[1] > 0.8
    assert told.chance[0] < told.chance[1] / 2


def test_what_is_said_of_being_gone_comes_true() -> None:
    """Of the cars that are said to be there with 0 to 20, 20 to 40, … per cent, about as many are."""
    rng = np.random.default_rng(11)
    visits, last, seen, there = visiting(rng, 4000, lost=0.25, rate=0.8, years=10.0)
    said = still_ours(habit_of(visits, last, seen), visits, last, seen)
    for low in (0.0, 0.2, 0.4, 0.6, 0.8):
        band = (said >= low) & (said < low + 0.2)
        assert band.sum() < 30 or abs(there[band].mean() - said[band].mean()) < 0.06
    assert abs(there.mean() - said.mean()) < 0.03


def test_ten_cars_give_a_sane_answer() -> None:
    cars = replace(some_cars(10), brought=np.zeros(10, dtype=np.int64))
    told = coming(a_fleet(cars, [a_cohort(cars, "BG1", [Way(a_model("BG1"), 1.0)])]))
    assert np.all((told.chance > 0.02) & (told.chance <= 1))
    assert 0.3 < told.brought < 0.9


def test_no_car_at_all_gives_an_answer_too() -> None:
    cars = some_cars(0)
    told = coming(a_fleet(cars, [a_cohort(cars, "BG1", [Way(a_model("BG1"), 1.0)])]))
    assert len(told.chance) == 0
    assert np.all(np.isfinite(told.arrivals))


def test_cars_that_brought_what_failed_will_bring_what_fails() -> None:
    brought = np.zeros(300, dtype=np.int64)
    brought[:60] = 2
    last = np.full(300, NOW - 12)
    told = coming(with_visits(brought=brought, last=last, visits=np.full(300, 3)))
    assert told.chance[:60].mean() > 1.5 * told.chance[60:].mean()


def test_the_share_that_comes_is_learned_in_step_with_the_models() -> None:
    """A draw that expects more failures is one in which fewer of them come here: 60 were seen."""
    fleet = with_visits(brought=np.repeat([1, 0], [60, 240]))
    doubtful = Way(a_model("BG1", years=12.0, sd=0.5), 1.0)
    fleet = replace(fleet, fitted=(a_cohort(fleet.cars, "BG1", [doubtful]),))
    told = coming(fleet)
    log_hazard = -np.exp(DRAWN(doubtful.model).log_shape) * DRAWN(doubtful.model).log_scale
    assert np.corrcoef(np.log(told.relative), log_hazard)[0, 1] < -0.5


def test_cars_that_differ_are_told_apart_and_those_that_do_not_are_not() -> None:
    rng = np.random.default_rng(4)
    expected = np.full(2000, 2.0)
    alike = own_shares(rng.poisson(expected), expected)
    differing = own_shares(rng.poisson(expected * rng.gamma(0.6, 1 / 0.6, 2000)), expected)
    assert np.ptp(alike) < 0.35
    assert np.ptp(differing) > 1.5


def test_units_that_were_taken_off_count_as_time_in_sight() -> None:
    """Two failures were brought by every car, of units that are gone: without those it would look like luck."""
    fleet = with_visits(brought=np.full(300, 1), last=np.full(300, NOW - 2))
    gone = replace(a_cohort(fleet.cars, "BG2", [Way(a_model("BG2", years=6.0), 1.0)]), until=np.full(300, NOW - 4))
    assert coming(replace(fleet, past=(gone,))).brought < 0.8 * coming(fleet).brought


def test_more_new_cars_each_year_mean_more_to_come() -> None:
    ago = np.concatenate([np.full(10, 30), np.full(20, 18), np.full(40, 6)]) * 2
    cars = seen_once(ago)
    told = coming(a_fleet(cars, [a_cohort(cars, "BG1", [Way(a_model("BG1"), 1.0)])]))
    assert told.growth > 1.3
    assert told.arrivals.mean(axis=0)[0] > 1.4 * 70 / 36
    falling = seen_once(72 - ago)
    assert coming(a_fleet(falling, [a_cohort(falling, "BG1", [Way(a_model("BG1"), 1.0)])])).growth < 0.8


def test_old_customers_are_not_new_in_the_first_year_of_the_record() -> None:
    """Two hundred cars came in the first year that was written down, ten in each of the next two."""
    ago = np.concatenate([np.full(200, 30), np.full(10, 18), np.full(10, 6)]) * 2
    cars = seen_once(ago)
    fleet = replace(a_fleet(cars, [a_cohort(cars, "BG1", [Way(a_model("BG1"), 1.0)])]), begins=NOW - 36 * 2)
    assert coming(fleet).arrivals[:, :12].sum(axis=1).mean() == pytest.approx(10, rel=0.3)


def test_a_car_written_down_that_never_came_is_no_arrival() -> None:
    first = np.full(300, NOW - 12)
    told = coming(with_visits(first=first, last=first, visits=np.zeros(300, dtype=np.int64), came=np.zeros(300) > 0))
    assert told.arrivals.mean() < 1


def test_new_cars_bring_what_new_cars_brought() -> None:
    fleet = with_visits()
    assert coming(fleet).pieces["BG1"].mean() == pytest.approx(30 / 300, rel=0.15)
    assert coming(replace(fleet, at_first={})).pieces["BG1"].mean() < 0.01


def test_a_steady_trend_is_found_in_counts() -> None:
    years = -(np.arange(36) + 0.5) / 12
    counts = np.random.default_rng(8).poisson(np.exp(np.log(8.0) + 0.3 * years)).astype(float)
    level, slope, covariance = log_trend(counts, years)
    assert abs(level - np.log(8.0)) < 2.5 * np.sqrt(covariance[0, 0])
    assert abs(slope - 0.3) < 2.5 * np.sqrt(covariance[1, 1])
