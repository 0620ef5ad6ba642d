"""The mechanism of the shipped systems: what sensors see, how sound motions run."""

from itertools import pairwise
from typing import Literal

import pytest

from diagnostics.engine.errors import CaseError
from diagnostics.engine.faults import faults_of
from diagnostics.engine.motion import fault_free, pose_of, reports, sensor_state
from diagnostics.engine.system import BETWEEN, SENSORS, Condition
from tests.diagnostics.systems import SLUGS, shipped


@pytest.mark.parametrize("slug", SLUGS)
@pytest.mark.parametrize("motion", ["open", "close"])
def test_a_sound_motion_ends_in_its_end_pose(slug: str, motion: Literal["open", "close"]) -> None:
    system = shipped(slug)
    declared = system.motions[motion]
    traces = fault_free(system, motion)
    assert traces[0].before == system.poses[declared.start]
    assert traces[-1].after == system.poses[declared.end]
    assert [trace.step for trace in traces] == list(declared.steps)
    assert all(first.after == second.before for first, second in pairwise(traces))


@pytest.mark.parametrize("slug", SLUGS)
@pytest.mark.parametrize("motion", ["open", "close"])
def test_every_step_starts_and_ends_on_what_a_sound_top_reports(slug: str, motion: Literal["open", "close"]) -> None:
    system = shipped(slug)
    command = system.motions[motion].command
    for trace in fault_free(system, motion):
        before, after = reports(system, trace.before, command), reports(system, trace.after, command)
        assert trace.step.starts_when.items() <= before.items()
        assert trace.step.ends_when.items() <= after.items()
        assert not trace.step.ends_when.items() <= before.items()


@pytest.mark.parametrize("slug", SLUGS)
def test_no_resting_pose_and_no_pair_of_them_proves_the_sensors(slug: str) -> None:
    # Proof needs poses on the way or a hand: in every system some sensor reads the same in both resting poses.
    system = shipped(slug)
    seen = [reports(system, pose) for pose in system.poses.values()]
    limit = [code for code, one in system.positions.items() if one.kind in SENSORS - {"control-switch"}]
    assert any(seen[0][code] == seen[1][code] for code in limit)


def test_between_is_neither_end() -> None:
    system = shipped("rht-trio")
    pose = pose_of(system, {"lid": BETWEEN})
    assert reports(system, pose)["BG3"] == "released"
    assert reports(system, pose)["BG4"] == "released"
    assert not Condition(at={"lid": ("shut", "open")}).holds(pose)
    bow = shipped("softbow-hydro")
    assert sensor_state(bow.positions["BG8"], pose_of(bow, {"top": BETWEEN})) == BETWEEN
    assert sensor_state(bow.positions["BG8"], pose_of(bow, {"top": "upright"})) == "upright"


def test_only_the_command_switch_is_held() -> None:
    system = shipped("rht-trio")
    states = reports(system, system.poses["closed"], "SF2")
    assert (states["SF1"], states["SF2"]) == ("released", "made")
    assert reports(system, system.poses["closed"])["SF2"] == "released"


def test_conditions_combine() -> None:
    lid = Condition(at={"lid": ("shut",)})
    latch = Condition(at={"latch": ("locked", "half")})
    pose = {"lid": "open", "latch": "half"}
    assert Condition(any=(lid, latch)).holds(pose)
    assert not Condition(all=(lid, latch)).holds(pose)
    assert Condition.model_validate({"not": {"at": {"lid": "shut"}}}).holds(pose)
    assert Condition(all=(lid, latch)).axes() == {"lid", "latch"}


def test_a_pose_by_name_by_axes_and_over_a_base() -> None:
    system = shipped("rht-trio")
    assert pose_of(system, "open") == system.poses["open"]
    assert pose_of(system, {"lid": "open"}) == system.poses["closed"] | {"lid": "open"}
    assert pose_of(system, {"lid": "open"}, system.poses["open"]) == system.poses["open"] | {"lid": "open"}
    pose_of(system, "open")["lid"] = "changed"
    assert system.poses["open"]["lid"] == "shut"


@pytest.mark.parametrize(
    ("pose", "words"),
    [
        ("half", "The system rht-trio has no pose “half”; it has: closed, open."),
        ({"hood": "open"}, "The system rht-trio has no axis “hood”; it has: header-latch, lid-latch, lid,"),
        ({"lid": "ajar"}, "The axis lid has no place “ajar”; it has: shut, open, between."),
    ],
)
def test_a_pose_that_cannot_be_is_named(pose: str | dict[str, str], words: str) -> None:
    with pytest.raises(CaseError) as caught:
        pose_of(shipped("rht-trio"), pose)
    assert words in str(caught.value)


def test_an_unknown_motion_is_named() -> None:
    with pytest.raises(CaseError, match="has no motion “tilt”; it has: open, close"):
        fault_free(shipped("rht-trio"), "tilt")


def test_the_shipped_systems_differ_in_architecture() -> None:
    kinds = {slug: {one.kind for one in shipped(slug).positions.values()} for slug in SLUGS}
    assert "pump" in kinds["rht-trio"] & kinds["softbow-hydro"]
    assert not {"pump", "cylinder", "valve"} & kinds["softline-electro"]
    assert {"hall-sensor", "angle-sensor"} <= kinds["softbow-hydro"]
    switches = [one for one in shipped("rht-trio").positions.values() if one.kind == "switch"]
    assert len(switches) >= 12
    assert all(len(faults_of(shipped(slug))) > 70 for slug in SLUGS)


@pytest.mark.parametrize("slug", SLUGS)
def test_left_and_right_twins_share_a_part(slug: str) -> None:
    named = {one.name: one.part for one in shipped(slug).positions.values()}
    twins = [(name, name.replace(", left", ", right")) for name in named if name.endswith(", left")]
    assert twins
    assert all(named[left] == named[right] for left, right in twins)
