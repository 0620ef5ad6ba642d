"""A motion frame by frame: whole where nothing is wrong, stopped where a fault at its plainest stops it."""

import random

import pytest

from diagnostics.engine.drawing.player import player_frames
from diagnostics.engine.motion import fault_free
from diagnostics.engine.results import Fault
from diagnostics.engine.simulate import Bench
from diagnostics.engine.system.model import TopSystem
from tests.diagnostics.small_system import small_system
from tests.diagnostics.systems import SLUGS, shipped

TRIO = shipped("rht-trio")


@pytest.mark.parametrize("slug", SLUGS)
@pytest.mark.parametrize("motion", ["open", "close"])
def test_a_sound_top_plays_every_step_to_its_end(slug: str, motion: str) -> None:
    system = shipped(slug)
    frames = player_frames(system, motion)
    steps = [trace.step.name for trace in fault_free(system, motion)]
    assert [frame.step for frame in frames] == ["", *(step for step in steps for _frame in range(2))]
    assert not any(frame.stalled for frame in frames)
    assert {frame.lamp for frame in frames} == {"off"}
    assert not any(one.differs for frame in frames for one in frame.sensors)
    assert all(frame.picture is not None for frame in frames)
    assert len({frame.picture for frame in frames}) > len(steps)


@pytest.mark.parametrize(
    ("fault", "step", "words", "lamp"),
    [
        (Fault("BG4", "never-makes"), "raise-lid", "Does not end: BG4 is reported released, made is", "flashing"),
        (Fault("BG8", "open"), "raise-stack", "Does not start: BG8 is reported released, made is awaited.", "flashing"),
        (Fault("BG2", "stays-made"), "lock-header", "Does not end: BG2 is reported made, released is", "steady"),
        (Fault("BG10", "shorted-to-ground"), "raise-stack", "Does not end: BG10 is reported made", "flashing"),
        (Fault("KF1", "input-dead", "BG11"), "clear-shelf", "Does not end: BG11 is reported released", "flashing"),
        (Fault("GP1", "dead"), "raise-lid", "Does not arrive: GP1 Pump with tank, turning both ways.", "flashing"),
        (Fault("SF1", "open"), "release-lid", "The module does not see the control switch SF1.", "flashing"),
    ],
)  # fmt: skip
def test_a_fault_stops_it_where_it_must(fault: Fault, step: str, words: str, lamp: str) -> None:
    last = player_frames(TRIO, "close", [fault])[-1]
    assert (last.step, last.stalled, last.lamp) == (step, True, lamp)
    assert last.words.startswith(words)


def test_the_module_is_told_otherwise_than_it_should_be() -> None:
    last = player_frames(TRIO, "close", [Fault("BG4", "never-makes")])[-1]
    (lid,) = [one for one in last.sensors if one.differs]
    assert (lid.code, lid.due, lid.told) == ("BG4", "made", "released")
    assert last.picture is not None
    assert [one.code for one in last.picture.callouts if one.differs] == ["BG4"]


def test_a_drive_that_does_not_arrive_leaves_the_top_on_its_way() -> None:
    last = player_frames(TRIO, "open", [Fault("MM5", "binds")])[-1]
    assert last.step == "stack-shells"
    assert last.picture is not None
    assert any(line.dashed for line in last.picture.lines)


@pytest.mark.parametrize("mode", ["high-resistance", "comes-and-goes"])
@pytest.mark.parametrize("motion", ["open", "close"])
def test_a_contact_that_still_carries_mostly_plays_to_the_end(motion: str, mode: str) -> None:
    frames = player_frames(TRIO, motion, [Fault("BG4", mode)])
    assert not any(frame.stalled for frame in frames)
    assert not any(one.differs for frame in frames for one in frame.sensors)


def test_an_angle_sensor_without_its_wire_reports_no_place() -> None:
    last = player_frames(shipped("softbow-hydro"), "close", [Fault("BG8", "open")])[-1]
    assert (last.step, last.words) == (
        "release-cover",
        "Does not start: BG8 is reported in between, stowed is awaited.",
    )


def test_a_step_that_is_over_at_once_stops_the_next_one() -> None:
    """The end of the lid's way is reported before it moves, and the module does not ask for that first."""
    last = player_frames(TRIO, "open", [Fault("BG4", "stays-made")])[-1]
    # release-lid asks for BG4 released, so it does not start.
    assert last.step == "release-lid"
    system = small_system()
    last = player_frames(system, "open", [Fault("BG2", "stays-made")])[-1]
    assert last.step == "lid-down"
    assert "over before anything has moved" in last.words


def usual_stop(system: TopSystem, fault: Fault, motion: str) -> str | None:
    """Where five simulated tops with the fault stop most often."""
    benches = [Bench(system, [fault], random.Random(seed)) for seed in range(5)]  # noqa: S311 - a simulation
    stops: list[str | None] = [bench.try_motion(motion)["stops_at"] for bench in benches]
    return max(set(stops), key=stops.count)


@pytest.mark.parametrize("slug", SLUGS)
@pytest.mark.parametrize("motion", ["open", "close"])
def test_lasting_faults_stop_it_where_the_simulated_bench_stops(slug: str, motion: str) -> None:
    """Held against the random bench: a switch that never makes or stays made, a wire off, at every sensor."""
    system = shipped(slug)
    for code, position in system.sensors().items():
        if position.watches is not None:
            continue
        for mode in ("never-makes", "unplugged", "stays-made"):
            fault = Fault(code, mode)
            usual = usual_stop(system, fault, motion)
            last = player_frames(system, motion, [fault])[-1]
            assert (last.step if last.stalled else None) == usual, fault


def test_a_system_without_a_drawing_plays_without_pictures() -> None:
    frames = player_frames(small_system(), "close")
    assert len(frames) == 7
    assert all(frame.picture is None and frame.sensors for frame in frames)


def test_a_fault_at_no_position_is_refused() -> None:
    with pytest.raises(KeyError):
        player_frames(TRIO, "open", [Fault("BG99", "open")])
