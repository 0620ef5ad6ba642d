"""The study follows cars as a shop does, can be repeated, and is better than two fixed orders."""

import io
import json
from bisect import bisect

import pytest
from django.core.management import call_command

from diagnostics.engine.faults import repair_of
from diagnostics.engine.inference import believe
from diagnostics.engine.results import Fault
from diagnostics.engine.study import draw_cars, study
from diagnostics.engine.study.cars import SimulatedCar
from diagnostics.engine.study.follow import BUDGET_MINUTES, follow
from diagnostics.engine.study.lists import HERE, bench_list, specialist
from diagnostics.engine.study.summary import calibration
from diagnostics.management.commands import study_diagnosis
from tests.diagnostics.small_system import small_system

SYSTEM = small_system()


def judged(car):
    case = car.case()
    return case, believe(SYSTEM, case, max_faults=1).judgements


def test_cars_can_be_drawn_again_and_are_worth_bringing():
    cars = draw_cars(SYSTEM, 12, 2, seed=7)
    assert cars == draw_cars(SYSTEM, 12, 2, seed=7)
    assert cars != draw_cars(SYSTEM, 12, 2, seed=8)
    assert all(len(faults) == 2 for faults, _seed in cars)
    assert all(SimulatedCar(SYSTEM, *car).complaint for car in cars)


def test_suggestions_end_sooner_than_both_lists():
    result = study(SYSTEM, draw_cars(SYSTEM, 25, 1, seed=3))
    ways = result["ways"]
    assert list(ways) == ["suggested", "specialist", "bench_list"]
    assert ways["suggested"].ran >= 0.9
    assert ways["suggested"].searching < ways["specialist"].searching < ways["bench_list"].searching
    assert ways["suggested"].minutes < ways["bench_list"].minutes
    assert result["minutes_ratio"]["specialist"] == pytest.approx(
        ways["suggested"].minutes / ways["specialist"].minutes
    )


def test_the_same_car_ends_the_same_way_twice():
    car = draw_cars(SYSTEM, 1, 1, seed=5)[0]
    one, other = (follow(SimulatedCar(SYSTEM, *car), None, 2) for _time in range(2))
    assert one == other
    assert 0 < one.minutes <= BUDGET_MINUTES
    assert one.searching < one.minutes


def test_a_plug_left_off_is_found_mended_and_proven():
    end = follow(SimulatedCar(SYSTEM, (Fault("BG3", "unplugged"),), 4), None, 2)
    assert end.ran
    assert end.sound
    assert (True, True) in end.firsts or not end.firsts
    assert end.minutes < 90


def test_with_two_faults_the_search_goes_on_after_the_first_repair():
    end = follow(SimulatedCar(SYSTEM, (Fault("BG3", "unplugged"), Fault("QM1", "stuck")), 4), None, 2)
    assert end.ran
    assert end.sound


def contact(car):
    """Sound, weak, between or open, by the volts at the pin of BG2."""
    return bisect((0.05, 0.3, 0.8), car.bench.read("BG2")["volts"] / car.bench.supply)


@pytest.mark.parametrize("seed", range(8))
def test_a_repair_takes_away_what_it_mends_and_leaves_the_rest_as_it_was(seed):
    truth = (Fault("BG3", "high-resistance"), Fault("BG2", "high-resistance"))
    car = SimulatedCar(SYSTEM, truth, seed)
    car.bench.stand("top-open")
    before = contact(car)
    assert car.repair(repair_of(SYSTEM, truth[0]).key, 20.0)
    assert car.bench.faults == {truth[1]}
    assert car.minutes == 20.0
    assert car.searching == 0.0
    assert not car.repair("GP1 replace", 0.0)  # nothing was wrong there
    assert contact(car) == before


def test_entries_know_the_work_before_them():
    """As in a job: a reading after work on its path is after work, a trial after any work; what lies between two works
    on one path is left out."""
    car = SimulatedCar(SYSTEM, (Fault("BG3", "unplugged"),), 4)
    car.entries = [car.bench.read("BG3"), car.bench.read("BG4")]
    car.repair("BG3 plug-in", 5.0)
    car.entries += [car.bench.read("BG3"), car.bench.read("BG4"), car.bench.try_motion("close")]
    assert [one.after_work for one in car.case().observations] == [False, False, True, False, True]
    assert car.case().recent_work == ("BG3",)
    car.repair("BG3 replace", 20.0)
    assert [one.check for one in car.case().observations] == ["pin", "pin", "pin"]
    assert not any(one.after_work for one in car.case().observations)


def test_the_bench_list_makes_every_check_once():
    car = SimulatedCar(SYSTEM, (Fault("BG3", "unplugged"),), 4)
    order = list(bench_list(SYSTEM, *judged(car), "close"))
    assert order[:2] == [("battery", "GB1", HERE), ("motion", "close", HERE)]
    assert [code for check, code, which in order if (check, which) == ("pin", HERE)] == list(SYSTEM.sensors())
    assert len(set(order)) == len(order)
    assert not any(check == "pin-by-hand" and code == "BG6" for check, code, _which in order)  # nothing to press


def test_the_specialist_reads_first_what_the_stalled_step_waits_for():
    car = SimulatedCar(SYSTEM, (Fault("BG5", "unplugged"),), 4)
    car.entries = [car.bench.battery(), car.bench.try_motion("close")]
    assert car.entries[-1]["stops_at"] == "roof-over"
    order = list(specialist(SYSTEM, *judged(car), "close"))[2:]
    assert [code for _check, code, _which in order[:4]] == ["BG5", "BG6", "BG3", "BG4"]
    assert ("look", "MM2", HERE) in order[4:8]  # then what drives it
    car.entries.append(car.bench.read("BG5"))
    follows = [check for check, code, _which in list(specialist(SYSTEM, *judged(car), "close"))[2:7] if code == "BG5"]
    assert follows == ["pin", "wiggle", "look", "pin-by-hand", "continuity"]


def test_calibration_counts_each_bin():
    rows = calibration([(0.55, True), (0.59, False), (0.8, True), (1.0, True), (0.95, False)])
    assert [(row["suspects"], row["true"]) for row in rows] == [(2, 1), (0, 0), (0, 0), (1, 1), (2, 1)]


def test_command_prints_a_table_or_json(monkeypatch):
    monkeypatch.setattr(study_diagnosis, "SIZES", {1: 2})
    table, plain = io.StringIO(), io.StringIO()
    call_command("study_diagnosis", stdout=table)
    assert table.getvalue().count("specialist") == 3 * 3  # its row, and both ratios
    assert table.getvalue().count("suspects that were true") == 3
    call_command("study_diagnosis", "--json", stdout=plain)
    answer = json.loads(plain.getvalue())
    assert set(answer["systems"]) == {"rht-trio", "softbow-hydro", "softline-electro"}
    assert answer["systems"]["rht-trio"]["1"]["ways"]["suggested"]["cars"] == 2
