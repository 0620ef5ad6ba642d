"""The table of fault modes and the observation table, as data."""

from typing import get_args

import pytest

from diagnostics.engine import effects, observe
from diagnostics.engine.faults import MODES, describe, faults_of, mode_of, mode_words, repair_of
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import KIND_LETTERS, Kind
from diagnostics.models import WorkKind
from tests.diagnostics.small_system import small_system

SYSTEM = small_system()
ROWS = [(kind, mode) for kind, modes in MODES.items() for mode in modes]


def test_every_kind_of_position_has_modes():
    assert set(MODES) == set(get_args(Kind)) == set(KIND_LETTERS)


@pytest.mark.parametrize(("kind", "mode"), ROWS)
def test_rows_are_complete(kind, mode):
    assert 0 < mode.prior < 0.05
    assert mode.repair in WorkKind.values
    assert mode.reason
    assert mode_words(mode.name)
    assert len({m.name for m in MODES[kind]}) == len(MODES[kind])


def test_faults_name_one_input_of_the_module_each():
    faults = faults_of(SYSTEM)
    assert len(set(faults)) == len(faults)
    inputs = [f for f in faults if f.mode == "input-dead"]
    assert [f.input for f in inputs] == list(SYSTEM.sensors())
    assert {f.position for f in inputs} == {"KF1"}
    assert all(not f.input for f in faults if f.mode != "input-dead")


def test_repair_and_words():
    fault = Fault("BG2", "unplugged")
    repair = repair_of(SYSTEM, fault)
    assert (repair.position, repair.kind, repair.key) == ("BG2", "plug-in", "BG2 plug-in")
    assert repair.minutes > SYSTEM.positions["BG2"].minutes
    assert describe(SYSTEM, fault) == "BG2 lid down: is unplugged"
    assert "BG3" in describe(SYSTEM, Fault("KF1", "input-dead", "BG3"))
    assert repair_of(SYSTEM, Fault("KF1", "input-dead", "BG3")).position == "KF1"
    with pytest.raises(KeyError):
        mode_of(SYSTEM, Fault("BG2", "leaks"))


def test_distributions_of_the_observation_table_sum_to_one():
    pairs = [*observe.CONTACT_SHOWS.values()]
    rows = [row for pair in pairs for row in pair]
    rows += [*observe.CONTACT_SOUND.values(), observe.SHORTED_LOW, observe.SHORTED_HIGH, observe.ANGLE_SOUND]
    rows += [*observe.ANGLE_SHOWS.values(), observe.CONTINUITY_SOUND, observe.BATTERY_SOUND, observe.BATTERY_LOW]
    rows += [row for _mode, row in observe.CONTINUITY_SHOWS]
    for row in rows:
        assert sum(row) == pytest.approx(1.0)
        assert min(row) >= 0


@pytest.mark.parametrize("code", ["SF1", "BG2", "BG4", "BG5", "BG6"])
def test_every_mode_of_a_sensor_shows_somewhere_at_the_pin(code):
    """A mode without an effect could never be told from a sound sensor."""
    position = SYSTEM.positions[code]
    states = ("folded", "raised") if position.watches else ("made", "released")
    sound = [effects.pin_shows(position, frozenset(), due) for due in states]
    for mode in MODES[position.kind]:
        assert [effects.pin_shows(position, frozenset({mode.name}), due) for due in states] != sound


def test_every_fault_that_a_look_can_name_is_in_the_table():
    for kind, mode in ROWS:
        assert 0 < effects.seen_by_look(kind, mode.name) < 1


def test_precedence_of_two_faults_at_one_pin():
    position = SYSTEM.positions["BG2"]
    both = frozenset({"stays-made", "unplugged"})
    assert effects.pin_shows(position, both, "made") == effects.pin_shows(position, frozenset({"unplugged"}), "made")
    shorted = frozenset({"shorted-to-ground", "open"})
    assert effects.pin_shows(position, shorted, "released")[0] > 0.9


def test_by_hand_leaves_the_trigger_out():
    position = SYSTEM.positions["BG2"]
    assert effects.by_hand_shows(position, frozenset({"out-of-adjustment"})) == effects.by_hand_shows(
        position, frozenset()
    )


def test_a_dead_input_is_taken_for_released_whatever_the_pin_does():
    dead = frozenset({"input-dead"})
    assert effects.module_sees(SYSTEM.positions["BG2"], dead, "made", "made") == 0.0
    assert effects.module_sees(SYSTEM.positions["BG2"], dead, "made", "released") == 1.0
    assert effects.pin_shows(SYSTEM.positions["BG2"], dead, "made") == observe.CONTACT_SOUND["made"]
