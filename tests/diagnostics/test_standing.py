"""Where the top stands after a trial: what it tells apart, and that the sheet follows it."""

import random
from collections import Counter

import numpy as np
import pytest
from django.test import Client
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.engine import observe, standing, trials
from diagnostics.engine.case import check_case, parse_case
from diagnostics.engine.compiled import compiled
from diagnostics.engine.errors import CaseError
from diagnostics.engine.faults import faults_of
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.results import Fault
from diagnostics.engine.signals import judge
from diagnostics.engine.simulate import Bench
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet
from tests.diagnostics.bench import post_check, words
from tests.diagnostics.small_system import case_data, small_system
from tests.diagnostics.systems import SLUGS, shipped

SMALL = small_system()


def trial(stops_at: str | None, stands: dict[str, str] | None = None, motion: str = "close") -> dict[str, object]:
    return {"check": "motion", "motion": motion, "stops_at": stops_at, "stands": stands}


def shares(observations: list[dict[str, object]], system: TopSystem = SMALL) -> dict[Fault, float]:
    case = parse_case(case_data(system=system.system, observations=observations))
    belief = believe(system, case)
    return dict(zip(belief.model.faults, belief.shares, strict=True))


# --- what it tells apart


def test_a_step_not_released_not_moved_or_not_reported() -> None:
    """Closing stops at the roof. Where the roof stands says which of three repairs it is."""
    folded, between, raised = (
        shares([trial("roof-over", {"lid": "up", "roof": place})]) for place in ("folded", "between", "raised")
    )
    starts = sum(p for fault, p in folded.items() if fault.position == "BG4" or fault.input == "BG4")
    drives = sum(p for fault, p in between.items() if fault.position in ("GP1", "MM2", "QM1", "GB1", "KF1"))
    ends = sum(p for fault, p in raised.items() if fault.position in ("BG5", "BG6") or fault.input in ("BG5", "BG6"))
    assert starts > 0.5
    assert drives > 0.8
    assert ends > 0.9


def test_a_dead_drive_leaves_the_roof_where_it_was_and_a_binding_one_does_not() -> None:
    folded, between = (shares([trial("roof-over", {"roof": place})]) for place in ("folded", "between"))
    assert folded[Fault("QM1", "stuck")] > 3 * between[Fault("QM1", "stuck")]
    assert between[Fault("MM2", "binds")] > 3 * folded[Fault("MM2", "binds")]


def test_a_shelf_seen_clear_clears_the_switch_that_would_have_kept_it_flat() -> None:
    """Closing stops at the stack. Had the shelf's switch stayed made, the shelf would never have been swung clear."""
    system = shipped("rht-trio")
    fault = Fault("BG11", "stays-made")
    names = [step.name for step in system.motions["close"].steps]
    stopped = names[names.index("clear-shelf") + 1]
    silent, clear, flat = (
        shares([trial(stopped, stands)], system)[fault] for stands in (None, {"shelf": "clear"}, {"shelf": "flat"})
    )
    assert flat > silent > 0.05
    assert clear < 0.1 * silent


def test_nothing_said_of_where_it_stands_changes_nothing() -> None:
    for stops_at in (None, "lid-up", "lid-down"):
        assert shares([trial(stops_at)]) == shares([trial(stops_at, {})])


# --- against another implementation


@pytest.mark.parametrize("motion", ["open", "close"])
@pytest.mark.parametrize(
    "faults",
    [
        (),
        (Fault("BG3", "comes-and-goes"),),
        (Fault("BG5", "comes-and-goes"), Fault("MM2", "binds")),
        (Fault("GP1", "dead"),),
        (Fault("GB1", "low"), Fault("BG2", "comes-and-goes")),
    ],
)
def test_poses_of_the_simulated_bench_come_as_often_as_said(motion: str, faults: tuple[Fault, ...]) -> None:
    """The bench moves a pose step by step; here the chance of each (stop, pose) is computed in closed form. Only faults
    whose look is drawn anew each time, so that frequencies of one bench are the chances."""
    model = compiled(SMALL, 2)
    place = next(
        h
        for h, row in enumerate(model.sets.members)
        if {model.faults[i] for i in row if i < len(model.faults)} == set(faults)
    )
    n = 3000
    bench = Bench(SMALL, faults, random.Random(8))  # noqa: S311 - repeatable draws
    seen: Counter[tuple[str | None, str, str]] = Counter()
    for _number in range(n):
        stops_at = bench.try_motion(motion)["stops_at"]
        seen[stops_at, bench.pose["lid"], bench.pose["roof"]] += 1
    steps = SMALL.step_names(motion)
    for (stops_at, lid, roof), count in seen.items():
        told = np.zeros(len(steps) + 2)  # of the outcomes that look like this stop, without any slip
        told[standing._rows_told(SMALL.motions[motion], stops_at)] = 1.0
        ways = standing._ways(model, motion, stops_at, np.array([place]))
        chance = sum(float(c[0]) for _row, pose, c in ways if (pose["lid"], pose["roof"]) == (lid, roof))
        assert count / n == pytest.approx(chance, abs=4.5 * (chance * (1 - chance) / n) ** 0.5 + 1e-9), (stops_at, lid)


@settings(max_examples=30, deadline=None)
@given(
    slug=st.sampled_from(SLUGS), motion=st.sampled_from(["open", "close"]), data=st.data(), seed=st.integers(0, 10_000)
)
def test_what_people_say_of_one_axis_is_a_distribution(slug: str, motion: str, data: st.DataObject, seed: int) -> None:
    """Over all places that can be said of one axis the chances sum to that of the stop alone, under any faults."""
    system = shipped(slug)
    model = compiled(system, 1)
    declared = system.motions[motion]
    axis = data.draw(st.sampled_from(sorted({axis for step in declared.steps for axis in step.moves})))
    stops_at = data.draw(st.sampled_from([None, *system.step_names(motion)]))
    lamp = data.draw(st.sampled_from([None, "flashing", "off"]))
    weights = trials.told_weights(declared, stops_at, lamp, layman=False)
    some = np.array(random.Random(seed).sample(range(len(model.sets)), 20))  # noqa: S311 - repeatable draws
    places = (*system.axes[axis].places, "between")
    total = sum(standing.likelihood(model, motion, stops_at, weights, {axis: place}, some) for place in places)
    assert total == pytest.approx(weights @ trials.outcomes(model, motion)[:, some], abs=1e-12)


@settings(max_examples=25, deadline=None)
@given(slug=st.sampled_from(SLUGS), motion=st.sampled_from(["open", "close"]), seed=st.integers(0, 10_000))
def test_what_the_bench_shows_is_never_taken_for_a_mere_slip(slug: str, motion: str, seed: int) -> None:
    system = shipped(slug)
    rng = random.Random(seed)  # noqa: S311 - repeatable draws
    fault = rng.choice(faults_of(system))
    bench = Bench(system, (fault,), rng)
    seen = bench.try_motion(motion)
    if seen["stops_at"] is None:
        return
    model = compiled(system, 1)
    place = np.array([1 + model.faults.index(fault)])
    weights = trials.told_weights(system.motions[motion], seen["stops_at"], None, layman=False)
    chance = float(standing.likelihood(model, motion, seen["stops_at"], weights, seen["stands"], place)[0])
    by_slip = observe.TRIAL_SLIP / (len(system.motions[motion].steps) + 1)
    assert chance > by_slip / 3 ** len(seen["stands"])


# --- the case, the sheet


@pytest.mark.parametrize(
    ("stands", "said"),
    [
        ({"bonnet": "up"}, "observation 1: The system small-top has no axis “bonnet”"),
        ({"lid": "ajar"}, "observation 1: The axis lid has no place “ajar”; it has: down, up, between."),
        ({"divider": "shut"}, "observation 1: the axis divider is moved by hand"),
    ],
)
def test_places_that_cannot_be_are_refused(stands: dict[str, str], said: str) -> None:
    with pytest.raises(CaseError, match=said):
        check_case(SMALL, parse_case(case_data(observations=[trial("lid-up", stands)])))


def test_the_sentence_says_where_it_stands() -> None:
    case = parse_case(case_data(observations=[trial("roof-over", {"roof": "between"})]))
    judgement = judge(SMALL, case.observations[0])
    assert judgement.words.endswith("Seen there: roof: in between.")


def test_the_next_check_is_asked_for_where_the_top_stands() -> None:
    case = parse_case(case_data(observations=[trial("roof-over", {"roof": "between"})]))
    poses = [check.pose for check in diagnose(SMALL, case).next_checks if check.check == "pin"]
    assert poses
    assert all(pose["roof"] == "between" and pose["lid"] == "up" for pose in poses if isinstance(pose, dict))


@pytest.mark.django_db
def test_a_trial_takes_the_sheet_along(client: Client, tech, sheet: BenchSheet) -> None:
    client.force_login(tech)
    page = words(client.get(f"/sheets/{sheet.pk}/"))
    assert page.count("Where does it stand now?") == 2
    answer = post_check(
        client,
        sheet,
        check="motion",
        motion="open",
        stops_at="stow-stack",
        lamp="flashing",
        stands_shelf="clear",
        stands_stack="between",
        stands_shells="",
    )
    assert answer.status_code == 200
    sheet.refresh_from_db()
    assert sheet.checks.get().observation["stands"] == {"shelf": "clear", "stack": "between"}
    assert "Parcel shelf: clear" in sheet.checks.get().words
    assert (sheet.pose["stack"], sheet.pose["shells"], sheet.pose["lid"]) == ("between", "stacked", "open")


@pytest.mark.django_db
def test_a_trial_that_ran_leaves_the_car_at_its_end_and_the_trunk_as_it_was(
    client: Client, tech, sheet: BenchSheet
) -> None:
    client.force_login(tech)
    sheet.pose = {**sheet.pose, "divider": "lifted"}
    sheet.save()
    post_check(client, sheet, check="motion", motion="open", stops_at="whole")
    sheet.refresh_from_db()
    assert sheet.checks.get().observation["stands"] is None
    assert (sheet.pose["stack"], sheet.pose["lid"], sheet.pose["divider"]) == ("stowed", "shut", "lifted")


@pytest.mark.django_db
@pytest.mark.parametrize("field", [{"stands_shelf": "on-fire"}, {"stands_wing": "up"}, {"stands_trunk": "open"}])
def test_a_place_that_cannot_be_is_refused_in_one_sentence(
    client: Client, tech, sheet: BenchSheet, field: dict[str, str]
) -> None:
    client.force_login(tech)
    pose = dict(sheet.pose)
    answer = post_check(client, sheet, check="motion", motion="open", stops_at="stow-stack", **field)
    assert answer.status_code == 422
    assert "This entry: " in words(answer)
    sheet.refresh_from_db()
    assert sheet.pose == pose
    assert not sheet.checks.exists()
