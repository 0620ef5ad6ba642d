"""The picture of a top: every pose draws, stays inside its view box, and shows what the file says of each place."""

import re
from collections.abc import Iterable, Mapping
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.engine.drawing.callouts import BOX, ROW
from diagnostics.engine.drawing.marks import curve_of, number, path_of
from diagnostics.engine.drawing.top import TopPicture, top_picture, view_of
from diagnostics.engine.motion import fault_free, pin_state
from diagnostics.engine.system.model import BETWEEN, SENSORS, TopSystem
from tests.diagnostics.small_system import small_system
from tests.diagnostics.systems import SLUGS, shipped

CLOSED = {slug: dict(shipped(slug).poses["closed"]) for slug in SLUGS}

VIEW = {slug: view_of(shipped(slug)) for slug in SLUGS}


def poses(slug: str) -> st.SearchStrategy[dict[str, str]]:
    """Any pose, possible or not: each axis in any of its places or on its way."""
    axes = shipped(slug).axes.items()
    return st.fixed_dictionaries({name: st.sampled_from([*axis.places, BETWEEN]) for name, axis in axes})


def drawn(system: TopSystem, pose: Mapping[str, str], **more: object) -> TopPicture:
    picture = top_picture(system, pose, **more)  # type: ignore[arg-type]
    assert picture is not None
    return picture


def points_of(path: str) -> list[tuple[float, float]]:
    numbers = [float(found) for found in re.findall(r"-?\d+(?:\.\d+)?", path)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def coordinates(picture: TopPicture) -> Iterable[tuple[float, float]]:
    for path in (*(line.d for line in picture.lines), *(mark.d for mark in picture.marks)):
        yield from points_of(path)
    for one in picture.callouts:
        yield one.x, one.y
        yield one.left, one.label_y - ROW / 2
        yield one.left + BOX, one.label_y + ROW / 2


@pytest.mark.parametrize("slug", SLUGS)
@given(data=st.data())
def test_any_pose_draws_inside_the_view_box(slug: str, data: st.DataObject) -> None:
    picture = drawn(shipped(slug), data.draw(poses(slug)), view=VIEW[slug])
    for x, y in coordinates(picture):
        assert -0.1 <= x <= picture.width + 0.1
        assert -0.1 <= y <= picture.height + 0.1


@pytest.mark.parametrize("slug", SLUGS)
@given(data=st.data())
def test_names_of_sensors_never_lie_on_each_other(slug: str, data: st.DataObject) -> None:
    picture = drawn(shipped(slug), data.draw(poses(slug)), view=VIEW[slug])
    rows: dict[float, list[float]] = {}
    for one in picture.callouts:
        rows.setdefault(one.label_y, []).append(one.left)
    for lefts in rows.values():
        assert all(after - before >= BOX for before, after in pairwise(sorted(lefts)))


@pytest.mark.parametrize("slug", SLUGS)
def test_every_place_of_every_axis_looks_different(slug: str) -> None:
    system = shipped(slug)
    for name, axis in system.axes.items():
        pictures = {place: drawn(system, {**CLOSED[slug], name: place}).lines for place in (*axis.places, BETWEEN)}
        assert len(set(pictures.values())) == len(pictures), name


@pytest.mark.parametrize("slug", SLUGS)
def test_every_sensor_of_the_top_is_named_with_what_its_pin_should_show(slug: str) -> None:
    system = shipped(slug)
    shown = {one.code: one.state for one in drawn(system, CLOSED[slug]).callouts}
    switches = {code for code, one in system.positions.items() if one.kind in SENSORS - {"control-switch"}}
    assert shown == {code: pin_state(system, code, CLOSED[slug]) for code in switches}


@pytest.mark.parametrize("slug", SLUGS)
def test_the_car_stands_still_while_the_top_moves(slug: str) -> None:
    system, view = shipped(slug), view_of(shipped(slug))
    wheels, sizes = set(), set()
    for motion in system.motions:
        for trace in fault_free(system, motion):
            under_way = {**trace.before, **dict.fromkeys(trace.step.moves, BETWEEN)}
            for pose in (trace.before, under_way, trace.after):
                picture = drawn(system, pose, moving=trace.step.moves, view=view)
                wheels.add(picture.lines[1].d)
                sizes.add((picture.width, picture.height, picture.ground))
    assert len(wheels) == len(sizes) == 1


def test_what_is_on_its_way_is_dashed_and_lies_halfway() -> None:
    system = shipped("rht-trio")
    still, moving = (drawn(system, {**CLOSED["rht-trio"], "lid": place}) for place in ("shut", BETWEEN))
    assert not any(line.dashed for line in still.lines)
    # The lid's frame and its skin, which lies on the frame.
    assert sum(line.dashed for line in moving.lines) == 2
    tips = [min(y for _x, y in lid_frame(place)) for place in ("shut", BETWEEN, "open")]
    assert tips[0] > tips[1] > tips[2]


def lid_frame(place: str) -> list[tuple[float, float]]:
    """The points of the lid's frame: the one frame that another place of the lid does not have."""
    system, other = shipped("rht-trio"), "open" if place == "shut" else "shut"
    here, there = (drawn(system, {**CLOSED["rht-trio"], "lid": one}).lines for one in (place, other))
    (frame,) = [line for line in here if line.look == "frame" and line not in there]
    return points_of(frame.d)


def test_halfway_is_between_the_places_of_the_step() -> None:
    """The top of three places: on its way from stowed to upright it does not lie halfway to extended."""
    system = shipped("softbow-hydro")
    pose = {**system.poses["open"], "cover": "open", "top": BETWEEN}
    lifting = drawn(system, pose, moving={"top": ("stowed", "upright")})
    extending = drawn(system, pose, moving={"top": ("upright", "extended")})
    assert lifting.lines != extending.lines


def test_what_is_taken_out_is_not_drawn() -> None:
    system = shipped("softline-electro")
    fitted, out = (drawn(system, {**CLOSED["softline-electro"], "deflector": one}) for one in ("fitted", "taken-out"))
    assert len(fitted.lines) == len(out.lines) + 1


def test_a_pin_that_was_read_otherwise_is_marked() -> None:
    picture = drawn(shipped("rht-trio"), CLOSED["rht-trio"], reported={"BG3": "released", "BG1": "made"})
    assert [one.code for one in picture.callouts if one.differs] == ["BG3"]
    (lid,) = [one for one in picture.callouts if one.differs]
    assert lid.words == "read released, should be made"


def test_a_system_without_a_drawing_has_no_picture() -> None:
    system = small_system()
    assert top_picture(system, dict(system.poses["top-open"])) is None
    assert view_of(system) == ()


def test_numbers_are_short_and_a_corner_stays_a_corner() -> None:
    assert [number(value) for value in (1.0, -0.04, 2.26, -3.0)] == ["1", "0", "2.3", "-3"]
    assert path_of([(0, 0), (1.5, 2)], closed=True) == "M0 0L1.5 2Z"
    corner, curved = curve_of([(0, 0), (10, 0), (10, 0), (10, 10)]), curve_of([(0, 0), (10, 0), (10, 10)])
    assert corner.count("C") == curved.count("C") == 2
    # At a corner the first stretch arrives along the straight line; in a curve it has begun to turn.
    assert corner.split("C")[1].split()[2:4] == ["8.3", "0"]
    assert curved.split("C")[1].split()[2:4] != ["8.3", "0"]
