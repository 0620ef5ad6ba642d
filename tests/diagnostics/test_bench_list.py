"""The bench list in words: what to move between the poses, in the order of work, and what an adjusted trigger wants."""

import pytest

from diagnostics import services
from diagnostics.engine.bench_list import bench_list
from diagnostics.engine.proof_plan import goals_of, proof_plan
from diagnostics.selectors import bench_list_of_sheet
from shop.models import Job, User
from tests.diagnostics.bench import add, opened, publish
from tests.diagnostics.systems import shipped


def moves_of(slug: str, here: str, *open_items: tuple[str, str], hands: bool = False) -> list[tuple[str, ...]]:
    """The moves for a car on which only these states are still open."""
    system = shipped(slug)
    seen = {code: set(states) for code, _missing, states in goals_of(system, {})}
    for code, state in open_items:
        seen[code].discard(state)
    plan = proof_plan(system, seen, here=here, not_by_hand=() if hands else system.wired())
    work = bench_list(system, plan, supply=12.0)
    return [*(pose.moves for pose in work.poses), work.finish]


def test_what_a_hand_moved_is_put_back_before_anything_else_moves() -> None:
    moves = moves_of("rht-trio", "closed", ("BG12", "released"), ("BG13", "released"))
    first, second, finish = moves
    assert first == ("Top closed, moved by hand: Luggage divider in the trunk: lifted.",)
    assert second[0] == "Put back by hand: Luggage divider in the trunk: in place."
    assert finish == ("Put back by hand: Trunk lid, opened to the front for luggage: closed.",)


def test_from_the_open_top_the_motion_to_the_closed_pose_is_run_first() -> None:
    system = shipped("softline-electro")
    moves = moves_of("softline-electro", "open", ("BG1", "made"))
    assert moves[0] == (f"Run “{system.motions['close'].title}” to its end.", "Top closed.")


def test_a_motion_is_stopped_at_its_steps_in_their_order_and_then_ended() -> None:
    """Two states of the hardtop that stand only within the opening motion, in two different stretches of it."""
    system = shipped("rht-trio")
    wanted = (("BG6", "released"), ("BG7", "released"), ("BG11", "made"), ("BG8", "made"), ("BG4", "made"))
    work = moves_of("rht-trio", "closed", *wanted)
    stops = [moves[-1] for moves in work[:-1] if "let the switch go" in moves[-1]]
    numbers = [int(words.split("step ")[1].split(" ")[0]) for words in stops]
    assert numbers
    assert numbers == sorted(numbers)
    assert all("Prop what could drop" in words for words in stops)
    assert work[-1][-1] == f"Go on with “{system.motions['open'].title}” to its end."


@pytest.mark.django_db
def test_a_top_that_stands_half_way_is_to_be_brought_to_rest_first(job: Job, tech: User, owner: User) -> None:
    publish(owner)
    sheet = opened(job, tech)
    resting = bench_list_of_sheet(sheet)
    assert resting is not None
    assert not resting.half_way_start
    sheet = services.sheet_set_pose(
        sheet=sheet, by=tech, pose={**sheet.pose, "lid": "between"}, supply_volts=12.6, ignition_on=True
    )
    stalled = bench_list_of_sheet(sheet)
    assert stalled is not None
    assert stalled.half_way_start


@pytest.mark.django_db
def test_an_adjusted_trigger_is_asked_for_in_poses_and_not_by_hand(job: Job, tech: User, owner: User) -> None:
    """Every other switch is proven by hand; of BG1 a hand proves nothing once its trigger was set anew."""
    publish(owner)
    sheet = opened(job, tech)
    services.work_add(job=job, by=tech, position="BG1", kind="adjust", words="cam set")
    for code in ("BG1", "BG2"):
        add(sheet, tech, check="pin-by-hand", position=code, pressed_volts=0.1, released_volts=12.5)
    work = bench_list_of_sheet(sheet)
    assert work is not None
    asked = {(one.code, one.state) for pose in work.poses for one in pose.readings}
    assert ("BG1", "made") in asked
    assert not [item for item in asked if item[0] == "BG2"]
    assert "BG1" not in {one.code for one in work.by_hand}
