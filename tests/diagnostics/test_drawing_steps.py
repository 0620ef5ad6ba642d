"""The displacement-step diagram: levels, order, signal lines, bars as the mechanism has them, and what a sheet saw."""

import re

import pytest

from diagnostics.engine.drawing.step_plan import LEFT, REST, STEP, PinRead, Seen
from diagnostics.engine.drawing.steps import StepDiagram, step_diagram
from diagnostics.engine.errors import CaseError
from diagnostics.engine.motion import fault_free, reports
from diagnostics.engine.system.model import BETWEEN
from tests.diagnostics.small_system import small_system
from tests.diagnostics.systems import SLUGS, shipped

TRIO = shipped("rht-trio")


def points(path: str) -> list[tuple[float, float]]:
    numbers = [float(found) for found in re.findall(r"-?\d+(?:\.\d+)?", path)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def spans(path: str) -> list[tuple[float, float]]:
    """Bars as (from x, to x)."""
    return [(float(start), float(end)) for start, end in re.findall(r"M([\d.]+) [\d.]+H([\d.]+)V", path)]


def lane(diagram: StepDiagram, axes: list[str], axis: str) -> list[tuple[float, float]]:
    return points(diagram.lanes[axes.index(axis)].d)


def axes_of(motion: str) -> list[str]:
    return list(dict.fromkeys(axis for step in TRIO.motions[motion].steps for axis in step.moves))  # type: ignore[index]


def test_a_lane_rises_and_falls_in_its_own_steps() -> None:
    diagram = step_diagram(TRIO, "open")
    lid = lane(diagram, axes_of("open"), "lid")
    shut, opened = lid[0][1], lid[2][1]
    assert opened < shut  # a higher place stands higher on the page
    # Lid: rises in step 3 (raise-lid), falls in step 8 (shut-lid).
    assert lid == [
        (LEFT, shut),
        (LEFT + 2 * STEP + REST, shut),
        (LEFT + 3 * STEP, opened),
        (LEFT + 7 * STEP + REST, opened),
        (LEFT + 8 * STEP, shut),
        (LEFT + 8 * STEP + REST, shut),
    ]


def test_three_places_are_three_levels_in_their_order() -> None:
    diagram = step_diagram(shipped("softbow-hydro"), "close")
    labels = {label.text: label.y for label in diagram.side_labels if label.look == "soft"}
    assert labels["extended"] > labels["upright"] > labels["stowed"]


@pytest.mark.parametrize("slug", SLUGS)
@pytest.mark.parametrize("motion", ["open", "close"])
def test_columns_are_the_steps_in_order_with_their_usual_seconds(slug: str, motion: str) -> None:
    system = shipped(slug)
    diagram = step_diagram(system, motion)
    declared = system.motions[motion].steps  # type: ignore[index]
    assert [column.number for column in diagram.columns] == list(range(1, len(declared) + 1))
    for column, step in zip(diagram.columns, declared, strict=True):
        texts = [label.text for label in column.labels]
        assert " ".join(texts[:-1]) == step.name.replace("-", " ")
        assert texts[-1] == f"{step.seconds[0]:g}–{step.seconds[1]:g} s"
        assert column.stalls == ()


@pytest.mark.parametrize("slug", SLUGS)
@pytest.mark.parametrize("motion", ["open", "close"])
def test_bars_are_there_exactly_where_the_module_should_be_told_made(slug: str, motion: str) -> None:
    system = shipped(slug)
    diagram = step_diagram(system, motion)
    command = system.motions[motion].command  # type: ignore[index]
    traces = fault_free(system, motion)
    for row in diagram.rows:
        if system.positions[row.code].watches is not None:
            continue
        bars = spans(row.made)
        for index, trace in enumerate(traces):
            under_way = {**trace.before, **dict.fromkeys(trace.step.moves, BETWEEN)}
            for x, pose in ((index * STEP + REST / 2, trace.before), (index * STEP + REST + 35, under_way)):
                told = reports(system, pose, command)[row.code]
                assert any(start <= LEFT + x <= end for start, end in bars) == (told == "made"), (row.code, index)


def test_a_signal_goes_from_what_ends_a_step_to_what_it_starts() -> None:
    diagram = step_diagram(TRIO, "open")
    axes = axes_of("open")
    # Step 5 ends with the shells stacked (BG8); step 6 moves the stack, which stands up.
    stacked, up = lane(diagram, axes, "shells")[-1][1], lane(diagram, axes, "stack")[0][1]
    x = LEFT + 5 * STEP + REST / 2
    assert [(x, stacked), (x, up)] in [points(line.d) for line in diagram.signals if line.look == "signal"]
    assert any(label.text == "● BG8 ○ BG7" and abs(label.x - x) < 10 for label in diagram.signal_labels)
    assert diagram.signal_labels[0].text == "● SF2"


def test_the_stall_mark_stands_at_the_step_where_the_top_stopped() -> None:
    seen = Seen(stalls=(("raise-stack", "in the last trial"), ("raise-lid", "by the complaint")))
    diagram = step_diagram(TRIO, "close", seen)
    assert {column.number: column.stalls for column in diagram.columns if column.stalls} == {
        2: ("by the complaint",),
        4: ("in the last trial",),
    }
    marked = diagram.columns[3]
    assert [mark.words for mark in marked.marks] == ["stopped here: in the last trial"]
    assert marked.left < marked.x < marked.left + marked.width
    assert "Stops at “The stack swings up out of the trunk” (in the last trial)." in diagram.words
    assert diagram.steps[3].stalls == ("in the last trial",)


def test_seconds_of_a_trial_are_told_as_usual_or_slow() -> None:
    diagram = step_diagram(TRIO, "close", Seen(seconds={"release-lid": 1.0, "raise-lid": 7.4}))
    assert [(mark.sign, mark.words) for column in diagram.columns for mark in column.marks] == [
        ("agrees", "usual"),
        ("differs", "slow"),
    ]
    assert [(step.seconds, step.is_slow) for step in diagram.steps[:3]] == [
        ("1 s", False),
        ("7.4 s", True),
        ("", False),
    ]


def test_a_reading_stands_where_the_motion_stands_in_its_pose() -> None:
    after_step_4 = dict(fault_free(TRIO, "close")[3].after)
    reads = (PinRead("BG9", after_step_4, "released"), PinRead("BG8", after_step_4, "made"))
    diagram = step_diagram(TRIO, "close", Seen(reads=reads))
    marks = {row.code: row.marks for row in diagram.rows if row.marks}
    assert {code: [mark.sign for mark in found] for code, found in marks.items()} == {
        "BG9": ["differs"],
        "BG8": ["agrees"],
    }
    assert marks["BG9"][0].words == "BG9 read released, should be made"
    assert abs(points(marks["BG9"][0].d)[0][0] - (LEFT + 4 * STEP + REST / 2)) <= 6
    assert [one.words for one in diagram.steps[3].reads] == [
        "BG9 read released, should be made",
        "BG8 read made",
    ]
    assert not any(step.reads for step in diagram.steps if step.number != 4)


def test_a_reading_while_a_step_was_under_way_stands_in_its_middle() -> None:
    trace = fault_free(TRIO, "close")[3]
    pose = {**trace.before, "stack": BETWEEN}
    (row,) = [r for r in step_diagram(TRIO, "close", Seen(reads=(PinRead("BG9", pose, "released"),))).rows if r.marks]
    assert row.marks[0].sign == "agrees"
    assert abs(points(row.marks[0].d)[0][0] - (LEFT + 3 * STEP + REST + 35)) <= 6


def test_a_reading_in_another_pose_is_not_on_the_diagram() -> None:
    pose = {**TRIO.poses["open"], "trunk": "open"}
    assert not step_diagram(TRIO, "close", Seen(reads=(PinRead("BG13", pose, "released"),))).has_reads


def test_an_unknown_motion_is_refused() -> None:
    with pytest.raises(CaseError, match="no motion “fold”"):
        step_diagram(small_system(), "fold")
