"""The study runs on the smallest shipped system and is better than the fixed order; it can be repeated."""

import io
import json

import pytest
from django.core.management import call_command

from diagnostics.engine.study import draw_cars, fixed_order, study
from diagnostics.management.commands import study_diagnosis
from tests.diagnostics.small_system import small_system

SYSTEM = small_system()


def test_cars_can_be_drawn_again_and_are_worth_bringing():
    cars = draw_cars(SYSTEM, 12, 2, seed=7)
    assert cars == draw_cars(SYSTEM, 12, 2, seed=7)
    assert cars != draw_cars(SYSTEM, 12, 2, seed=8)
    assert all(len(faults) == 2 for faults, _seed in cars)


def test_suggestions_find_the_fault_sooner_than_a_fixed_order():
    result = study(SYSTEM, draw_cars(SYSTEM, 25, 1, seed=3))
    ours, theirs = result["suggested"], result["fixed_order"]
    assert ours.fault_in_three >= 0.9
    assert ours.minutes < theirs.minutes
    assert result["minutes_ratio"] == pytest.approx(ours.minutes / theirs.minutes)


def test_fixed_order_makes_every_check_once():
    order = list(fixed_order(SYSTEM, "close"))
    assert order[:2] == [("battery", "GB1"), ("motion", "close")]
    assert [code for check, code in order if check == "pin"] == list(SYSTEM.sensors())
    assert len(set(order)) == len(order)
    assert ("pin-by-hand", "BG6") not in order  # an angle sensor cannot be pressed


def test_command_prints_a_table_or_json(monkeypatch):
    monkeypatch.setattr(study_diagnosis, "SIZES", {1: 3})
    table, plain = io.StringIO(), io.StringIO()
    call_command("study_diagnosis", stdout=table)
    assert table.getvalue().count("fixed_order") == 3
    call_command("study_diagnosis", "--json", stdout=plain)
    answer = json.loads(plain.getvalue())
    assert set(answer["systems"]) == {"rht-trio", "softbow-hydro", "softline-electro"}
    assert answer["systems"]["rht-trio"]["1"]["suggested"]["cars"] == 3
