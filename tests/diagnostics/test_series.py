"""Two switches in series on one pin: what the pin shows, how motions go, how a reading is judged."""

import random
from collections import Counter
from itertools import combinations, pairwise, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.engine import effects, observe, trials
from diagnostics.engine.case import check_observation, checks_of, observation_of
from diagnostics.engine.compiled import Compiled, compiled
from diagnostics.engine.drawing.strict import strict_reports
from diagnostics.engine.errors import CaseError
from diagnostics.engine.faults import faults_of
from diagnostics.engine.motion import due_at, fault_free, pin_state, sensor_state
from diagnostics.engine.results import Fault
from diagnostics.engine.signals import judge
from diagnostics.engine.simulate import SHARES_SHOWN, Bench
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import at_pin, partner_of, path_of, pin_of, reported
from tests.diagnostics.series import (
    BOW,
    FIRST,
    LATCHES_OPEN,
    SWITCH,
    TOKENS,
    TWIN,
    apart,
    both,
    by_hand,
    contact,
    marked,
    pin,
)

# --- which switch belongs to which pin


def test_the_pair_shares_a_pin_a_site_and_an_input_of_the_module():
    assert path_of(BOW, FIRST) == path_of(BOW, TWIN) == (FIRST, TWIN)
    assert (at_pin(BOW, TWIN), partner_of(BOW, TWIN), partner_of(BOW, FIRST)) == (FIRST, FIRST, TWIN)
    assert pin_of(BOW, TWIN) == BOW.positions[FIRST].pin
    assert path_of(BOW, "BG5") == ("BG5",)
    assert partner_of(BOW, "GP1") is None
    codes = list(BOW.wired())
    assert codes.index(TWIN) == codes.index(FIRST) + 1
    assert TWIN not in BOW.sensors()
    faults = faults_of(BOW)
    assert {f.mode for f in faults if f.position == TWIN} == set(SWITCH)
    assert [f.input for f in faults if f.mode == "input-dead"] == list(BOW.sensors())
    model = compiled(BOW, 2)
    assert model.sites[TWIN] is model.sites[FIRST]
    assert len(model.sites[FIRST].faults) == 2 * len(SWITCH) + 1


def test_the_pin_is_made_only_while_both_contacts_are():
    top = apart()
    for trace in (*fault_free(top, "open"), *fault_free(top, "close")):
        states = [sensor_state(top.positions[code], trace.after) for code in (FIRST, TWIN)]
        assert pin_state(top, FIRST, trace.after) == ("made" if states == ["made", "made"] else "released")
        assert due_at(top, TWIN, trace.after) == "&".join(states)
    assert {reported(a + "&" + b) for a, b in product(("made", "released"), repeat=2)} == {"made", "released"}


# --- what the pin shows


@given(
    first=st.sets(st.sampled_from(SWITCH), max_size=3),
    second=st.sets(st.sampled_from(SWITCH), max_size=3),
    due=st.sampled_from(["made&made", "made&released", "released&made", "released&released"]),
)
def test_what_the_pin_shows_is_combined_exactly_from_both_contacts(first, second, due):
    shows = effects.pin_shows(BOW.positions[FIRST], marked(first, second), due)
    assert sum(shows) == pytest.approx(1.0)
    assert shows == pytest.approx(tuple(both(first, second, *due.split("&")).values()))
    if "shorted-to-ground" not in first:
        # A second contact in series never makes the pin read better made than the first one alone.
        alone = contact(first, due.split("&")[0])
        assert all(sum(shows[:n]) <= sum(alone[:n]) + 1e-12 for n in range(len(TOKENS)))


def test_two_poor_contacts_in_series_add_their_resistances():
    """The two mixtures of the table, from evenly spread readings by Ohm's law."""
    middle = (np.arange(2000) + 0.5) / 2000
    for token, expected in (("weak", (0.0, 0.213, 0.787, 0.0)), ("between", (0.0, 0.0, 0.772, 0.228))):
        low, high = SHARES_SHOWN[token]
        share = low + (high - low) * middle
        ohms = share / (1 - share)
        total = ohms[:, None] + ohms[None, :]
        pin_share = total / (1 + total)
        bounds = [0.0, 0.10, BOW.module.low_share, BOW.module.high_share, 1.0]
        found = [np.mean((pin_share > a) & (pin_share <= b)) for a, b in pairwise(bounds)]
        assert observe.IN_SERIES[token, token] == pytest.approx(expected)
        assert found == pytest.approx(expected, abs=2e-3)


def test_other_pairs_of_states_show_the_worse_one():
    """Nothing but two like poor contacts can leave the class of the worse one: at the ends of their spreads."""
    edges = {token: [low / (1 - low), high / (1 - high)] for token, (low, high) in SHARES_SHOWN.items()}
    bounds = {"made": (0, 0.1), "weak": (0.1, 0.3), "between": (0.3, 0.7), "released": (0.7, 1)}
    for one, other in combinations(TOKENS, 2):
        for a, b in product(edges[one], edges[other]):
            share = (a + b) / (1 + a + b)
            low, high = bounds[max(one, other, key=TOKENS.index)]
            assert low < share <= high, (one, other, share)


def test_the_link_wire_at_ground_bypasses_only_the_second_switch():
    link = marked((), {"shorted-to-ground"})
    assert effects.pin_shows(BOW.positions[FIRST], link, "made&released")[0] > 0.9
    assert effects.pin_shows(BOW.positions[FIRST], link, "released&made")[3] == 1.0
    wire = marked({"shorted-to-ground"}, {"open"})
    assert effects.pin_shows(BOW.positions[FIRST], wire, "released&released")[0] > 0.9


def test_by_hand_the_triggers_of_both_play_no_part():
    sound = effects.by_hand_shows(BOW.positions[FIRST], frozenset(), ("made&made", "made&released"))
    off = marked({"out-of-adjustment"}, {"out-of-adjustment"})
    assert effects.by_hand_shows(BOW.positions[FIRST], off, ("made&made", "made&released")) == sound
    stuck = effects.by_hand_shows(BOW.positions[FIRST], marked((), {"stays-made"}), ("made&made", "made&released"))
    assert stuck[0] > 0.9  # made pressed, made let go


# --- motions: three ways to the same outcome


def walked(model: Compiled, motion, faults):
    """Outcome -> chance, step by step on poses with `both` and the tables of the other positions."""
    system = model.system
    declared = system.motions[motion]
    modes = {code: {f.mode for f in faults if f.position == code} for code in (FIRST, TWIN)}
    dead = any(f.input == FIRST for f in faults)

    def sees(wanted, pose):
        if FIRST not in wanted:
            return 1.0
        if dead:
            return float(wanted[FIRST] == "released")
        due = [sensor_state(system.positions[code], pose) for code in (FIRST, TWIN)]
        shows = both(modes[FIRST], modes[TWIN], *due)
        made = shows["made"] + shows["weak"] + 0.5 * shows["between"]
        return made if wanted[FIRST] == "made" else 1.0 - made

    found, alive = Counter(), 1.0
    traces = fault_free(system, motion)
    for number, trace in enumerate(traces):
        starts = sees(trace.step.starts_when, trace.before)
        # The other sensors are sound, so a step ends early only if it waits for this pin alone.
        early = sees(trace.step.ends_when, trace.before) if set(trace.step.ends_when) == {FIRST} else 0.0
        ends = sees(trace.step.ends_when, trace.after)
        found[number] += alive * (1 - starts) + alive * starts * (1 - early) * (1 - ends)
        found[min(number + 1, len(traces) - 1)] += alive * starts * early
        alive *= starts * (1 - early) * ends
    found[len(declared.steps)] += alive
    return found


def test_an_end_that_the_pair_reports_already_ends_no_step():
    """Only a file that the validator refuses has such a step; the model must not stumble over it."""
    data = BOW.model_dump(by_alias=True, exclude_none=True)
    step = next(one for one in data["motions"]["close"]["steps"] if one["name"] == "open-cover")
    step["ends_when"] = {FIRST: "released"}
    rows = trials.outcomes(compiled(TopSystem.model_validate(data), 1), "close")
    assert rows[-1, 0] == pytest.approx(1.0)


def of_the_pair():
    faults = [f for f in faults_of(BOW) if f.position in (FIRST, TWIN) or f.input == FIRST]
    return [(one,) for one in faults] + list(combinations(faults, 2))


@pytest.mark.parametrize("motion", ["open", "close"])
def test_motions_with_every_fault_of_the_pair_single_and_double(motion):
    model = compiled(BOW, 2)
    place = {tuple(int(i) for i in row if i < model.sets.n): h for h, row in enumerate(model.sets.members)}
    rows = trials.outcomes(model, motion)
    for faults in of_the_pair():
        column = rows[:, place[tuple(sorted(model.faults.index(one) for one in faults))]]
        expected = walked(model, motion, faults)
        assert column[0] == pytest.approx(0.0)
        assert column[1:] == pytest.approx([expected[n] for n in range(len(column) - 1)], abs=1e-12), faults


@pytest.mark.parametrize("motion", ["open", "close"])
def test_the_simulated_bench_stops_where_the_closed_form_expects(motion):
    """The bench draws a fault once and leaves out draws in which it shows nothing, so frequencies agree roughly; what
    is nearly certain must be what the bench shows."""
    model = compiled(BOW, 2)
    place = {tuple(int(i) for i in row if i < model.sets.n): h for h, row in enumerate(model.sets.members)}
    names = [*BOW.step_names(motion), None]
    runs, clear = 40, 0
    for faults in of_the_pair():
        column = trials.outcomes(model, motion)[1:, place[tuple(sorted(model.faults.index(one) for one in faults))]]
        seen = Counter(
            Bench(BOW, faults, random.Random(seed)).try_motion(motion)["stops_at"]  # noqa: S311 - repeatable
            for seed in range(runs)
        )
        shares = np.array([seen[name] / runs for name in names])
        assert np.abs(shares - column).sum() / 2 < 0.45, (faults, seen)
        if column.max() > 0.85:
            clear += 1
            assert shares.argmax() == column.argmax(), (faults, seen)
    assert clear > 30


def test_the_bench_shows_single_readings_as_often_as_the_table_says():
    """Flickering contacts are drawn anew at every reading, so there the frequencies must agree."""
    faults = (Fault(FIRST, "comes-and-goes"), Fault(TWIN, "comes-and-goes"))
    bench = Bench(BOW, faults, random.Random(5))  # noqa: S311 - repeatable
    bench.stand("closed")
    shares = [bench.read(FIRST) for _n in range(4000)]
    reads = Counter(judge(BOW, observation_of(one)).reads for one in shares)
    expected = both({"comes-and-goes"}, {"comes-and-goes"}, "made", "made")
    assert reads["made"] / 4000 == pytest.approx(expected["made"] + expected["weak"], abs=0.03)
    assert reads["between"] / 4000 == pytest.approx(expected["between"], abs=0.03)
    assert reads["released"] / 4000 == pytest.approx(expected["released"], abs=0.03)


@pytest.mark.parametrize(
    ("faults", "pressed"),
    [
        ((), {FIRST: ("made", "released"), TWIN: ("made", "released")}),
        ((Fault(TWIN, "unplugged"),), {FIRST: ("released", "released"), TWIN: ("released", "released")}),
        ((Fault(TWIN, "shorted-to-ground"),), {FIRST: ("made", "released"), TWIN: ("made", "made")}),
        ((Fault(FIRST, "shorted-to-ground"),), {FIRST: ("made", "made"), TWIN: ("made", "made")}),
        ((Fault(FIRST, "shorted-to-ground"), Fault(TWIN, "open")), {FIRST: ("made", "made"), TWIN: ("made", "made")}),
    ],
)
def test_the_bench_presses_one_while_the_other_is_held(faults, pressed):
    bench = Bench(BOW, faults, random.Random(2))  # noqa: S311 - repeatable
    bench.stand("open")
    for code, (down, up) in pressed.items():
        entry = bench.by_hand(code)
        shares = entry["pressed_volts"] / entry["supply_volts"], entry["released_volts"] / entry["supply_volts"]
        assert tuple("made" if share < 0.3 else "released" for share in shares) == (down, up)


@pytest.mark.parametrize(
    ("faults", "shows"),
    [
        ((), "released"),
        ((Fault(TWIN, "shorted-to-ground"),), "made"),
        ((Fault(TWIN, "stays-made"),), "made"),
        ((Fault(TWIN, "shorted-to-ground"), Fault(FIRST, "open")), "released"),
        ((Fault(FIRST, "shorted-to-ground"), Fault(TWIN, "open")), "made"),
        ((Fault(FIRST, "never-makes"),), "released"),
        ((Fault("KF1", "input-dead", FIRST), Fault(FIRST, "shorted-to-ground")), "released"),
    ],
)
def test_the_played_motion_sees_the_pair_at_its_plainest(faults, shows):
    """The left latch locked, the lid open: only the second contact is due to be released."""
    pose = apart().poses["closed"] | {"cover": "open"}
    reports = strict_reports(apart(), pose, faults, "SF1")
    assert reports[FIRST] == shows


# --- judgements


@pytest.mark.parametrize(
    ("pose", "share", "verdict"),
    [
        ("closed", 0.01, "ok"),
        ("closed", 0.99, "finding"),
        ("closed", 0.50, "finding"),
        ("closed", 0.20, "finding"),
        (LATCHES_OPEN, 0.99, "ok"),
        (LATCHES_OPEN, 0.01, "finding"),
    ],
)
def test_a_reading_is_judged_by_both_and_names_both(pose, share, verdict):
    judgement = judge(BOW, observation_of(pin(share, pose)))
    assert judgement.verdict == verdict
    assert FIRST in judgement.words
    assert TWIN in judgement.words
    assert ("part them" in judgement.words) == (verdict == "finding")


def test_a_pose_in_which_only_one_is_made_gives_released():
    assert judge(apart(), observation_of(pin(0.99, LATCHES_OPEN))).verdict == "ok"
    assert judge(apart(), observation_of(pin(0.01, LATCHES_OPEN))).verdict == "finding"


@pytest.mark.parametrize("code", [FIRST, TWIN])
def test_by_hand_each_is_judged_while_the_other_is_held(code):
    other = partner_of(BOW, code)
    good = judge(BOW, observation_of(by_hand(code)))
    assert good.verdict == "ok"
    assert f"if {other}, in series with it, was held pressed" in good.words
    assert judge(BOW, observation_of(by_hand(code, released=0.01))).verdict == "finding"
    assert "held pressed" not in judge(BOW, observation_of(by_hand("BG5"))).words


def test_the_switch_without_a_pin_is_checked_by_hand_click_look_wiggle_and_ohms():
    assert checks_of(BOW, TWIN) == checks_of(BOW, FIRST) - {"pin"}
    with pytest.raises(CaseError, match="Entry 1: BG7 has no pin of its own; read BG6"):
        check_observation(BOW, observation_of(pin(0.1, code=TWIN)), "Entry 1")
    link = {"check": "continuity", "position": TWIN, "ohms": 0.4}
    assert judge(BOW, observation_of(link)).verdict == "ok"
    assert judge(BOW, observation_of(link | {"ohms": 40.0})).verdict == "finding"
