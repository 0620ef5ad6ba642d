"""Two switches in series on one pin: what the pin shows, who is suspected, what proves them."""

import random
from collections import Counter
from functools import cache
from itertools import combinations, pairwise, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.engine import effects, observe, trials
from diagnostics.engine.case import check_observation, checks_of, observation_of, parse_case
from diagnostics.engine.compiled import Compiled, compiled
from diagnostics.engine.drawing.strict import strict_reports
from diagnostics.engine.errors import CaseError
from diagnostics.engine.faults import MODES, default_prior, faults_of
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.motion import due_at, fault_free, pin_state, sensor_state
from diagnostics.engine.proof import proof_of
from diagnostics.engine.results import Fault
from diagnostics.engine.signals import judge
from diagnostics.engine.simulate import SHARES_SHOWN, Bench
from diagnostics.engine.system.load import load_system
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import at_pin, partner_of, path_of, pin_of, reported
from tests.diagnostics.systems import shipped, text_of

BOW = shipped("softbow-hydro")
FIRST, TWIN = "BG6", "BG7"
"""The left latch switch has the pin; the right one is in series with it."""
TOKENS = observe.CONTACT_TOKENS
SWITCH = tuple(mode.name for mode in MODES["switch"])
LATCHES_OPEN = {"cover-latch": "open"}
SUPPLY = 12.5


@cache
def apart() -> TopSystem:
    """The same top with the right switch at the lid itself: with the latches open and the lid shut they differ."""
    text = text_of("softbow-hydro")
    start = text.index("in_series_with")
    mended = text[start:].replace("{at: {cover-latch: locked}}", "{at: {cover: shut}}", 1)
    return load_system(text[:start] + mended, "apart")


def pin(share, pose="closed", code=FIRST, **more):
    volts = round(SUPPLY * share, 3)
    return {"check": "pin", "position": code, "pose": pose, "volts": volts, "supply_volts": SUPPLY} | more


def by_hand(code, pressed=0.01, released=0.99, **more):
    volts = {"pressed_volts": SUPPLY * pressed, "released_volts": SUPPLY * released, "supply_volts": SUPPLY}
    return {"check": "pin-by-hand", "position": code} | volts | more


def click(code, heard):
    return {"check": "click", "position": code, "heard": heard}


def case_of(*entries, **more):
    data = {"system": "softbow-hydro", "car": {"made_on": "2012-03"}, "seen_on": "2024-05-06"}
    return parse_case(data | {"observations": list(entries)} | more)


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


def contact(modes, state):
    """Distribution over TOKENS of one switch alone, straight from the table: written apart from the engine."""
    for mode in observe.PRECEDENCE:
        if mode in modes and mode == "shorted-to-ground":
            return observe.SHORTED_LOW
        if mode in modes:
            return observe.CONTACT_SHOWS[mode][("made", "released").index(state)]
    return observe.CONTACT_SOUND[state]


def both(first, second, due_first, due_second):
    """The pin, by walking all pairs of tokens; a main wire at ground is seen before either contact."""
    alone = contact(first, due_first)
    if "shorted-to-ground" in first:
        return dict(zip(TOKENS, alone, strict=True))
    found = dict.fromkeys(TOKENS, 0.0)
    second_shows = contact(second, due_second)
    for (one, p), (other, q) in product(zip(TOKENS, alone, strict=True), zip(TOKENS, second_shows, strict=True)):
        if one == other == "weak":
            found["weak"] += 0.213 * p * q
            found["between"] += 0.787 * p * q
        elif one == other == "between":
            found["between"] += 0.772 * p * q
            found["released"] += 0.228 * p * q
        else:
            found[max(one, other, key=TOKENS.index)] += p * q
    return found


def marked(first, second):
    return frozenset(first) | {effects.TWIN + mode for mode in second}


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


# --- suspects, held against a small computation of its own


def chance_of(entry, faults):
    """Likelihood of one entry under a set of faults; only those of the pair matter."""
    first, second = ({f.mode for f in faults if f.position == code} for code in (FIRST, TWIN))
    match entry["check"]:
        case "pin":
            state = "made" if entry["pose"] == "closed" else "released"
            return 0.98 * both(first, second, state, state)[entry["token"]] + 0.02 / 4
        case "click":
            modes = first if entry["position"] == FIRST else second
            heard = 0.96 * min((observe.CLICK_HEARD.get(mode, 1.0) for mode in modes), default=1.0)
            return heard if entry["heard"] else 1.0 - heard
        case "pin-by-hand":
            modes = [{m for m in own if m != "out-of-adjustment"} for own in (first, second)]
            let_go = ("released", "made") if entry["position"] == FIRST else ("made", "released")
            pressed, released = both(*modes, "made", "made"), both(*modes, *let_go)
            return 0.98 * pressed[entry["tokens"][0]] * released[entry["tokens"][1]] + 0.02 / 16
    raise ValueError(entry)


def small_bayes(told):
    """P(fault) over no fault, single faults and pairs of faults, one after the other."""
    faults = faults_of(BOW)
    odds = {f: default_prior(BOW, f) / (1 - default_prior(BOW, f)) for f in faults}
    weights = {}
    for chosen in [(), *((f,) for f in faults), *combinations(faults, 2)]:
        weights[chosen] = np.prod([odds[f] for f in chosen]) * np.prod([chance_of(one, chosen) for one in told])
    total = sum(weights.values())
    return {f: sum(w for chosen, w in weights.items() if f in chosen) / total for f in faults}


NEVER_MADE = (pin(0.99), {"check": "pin", "pose": "closed", "token": "released"})
STORIES = {
    "never made": [NEVER_MADE],
    "never made, no click on the right": [
        NEVER_MADE, (click(TWIN, heard=False), click(TWIN, heard=False)), (click(FIRST, heard=True),) * 2,
    ],
    "stays made, by hand on the right": [
        (pin(0.01, LATCHES_OPEN), {"check": "pin", "pose": "open", "token": "made"}),
        (by_hand(FIRST), {"check": "pin-by-hand", "position": FIRST, "tokens": ("made", "released")}),
        (by_hand(TWIN, released=0.01), {"check": "pin-by-hand", "position": TWIN, "tokens": ("made", "made")}),
    ],
}  # fmt: skip


@pytest.mark.parametrize("story", STORIES)
def test_suspects_agree_with_a_small_computation_of_its_own(story):
    entries, told = zip(*STORIES[story], strict=True)
    belief = believe(BOW, case_of(*entries), max_faults=2)
    expected = small_bayes(told)
    found = dict(zip(belief.model.faults, belief.shares, strict=True))
    for fault, share in expected.items():
        assert found[fault] == pytest.approx(share, abs=1e-9), fault


def shares_of(*entries, **more):
    found = diagnose(BOW, case_of(*entries, **more)).suspects
    return {suspect.fault: suspect.probability for suspect in found}


def at(shares, code):
    return sum(share for fault, share in shares.items() if fault.position == code)


def test_a_pair_that_is_never_made_is_shared_until_a_click_parts_it():
    shared = shares_of(pin(0.99))
    assert at(shared, FIRST) == pytest.approx(at(shared, TWIN), rel=0.01)
    assert at(shared, FIRST) + at(shared, TWIN) > 0.8
    parted = shares_of(pin(0.99), click(TWIN, heard=False), click(FIRST, heard=True))
    assert parted[Fault(TWIN, "never-makes")] > 4 * parted[Fault(FIRST, "never-makes")]


def test_an_open_link_wire_is_found_by_its_ohms():
    found = shares_of(pin(0.99), {"check": "continuity", "position": TWIN, "ohms": None})
    assert found[Fault(TWIN, "open")] > 0.8
    found = shares_of(pin(0.99), {"check": "continuity", "position": FIRST, "ohms": None})
    assert found[Fault(FIRST, "open")] > 0.8


def test_a_switch_that_stays_made_hides_behind_the_other_until_it_is_pressed():
    """In the poses of this top both change together, so nothing at the pin shows that one of them stays made."""
    in_poses = [pin(0.01), pin(0.99, LATCHES_OPEN)]
    hidden = shares_of(*in_poses).get(Fault(TWIN, "stays-made"), 0.0)
    assert hidden > 0.5 * default_prior(BOW, Fault(TWIN, "stays-made"))
    shown = shares_of(*in_poses, by_hand(FIRST), by_hand(TWIN, released=0.01))
    assert shown[Fault(TWIN, "stays-made")] > 0.6
    assert shown[Fault(TWIN, "stays-made")] > 50 * shown.get(Fault(FIRST, "stays-made"), 0.001)


def test_a_whole_motion_stops_where_the_pin_is_not_believed():
    told = {"motion": "close", "stops_at": "shut-cover", "lamp": "flashing"}
    found = shares_of(complaint=told)
    assert at(found, FIRST) == pytest.approx(at(found, TWIN), rel=0.1)
    assert at(found, TWIN) > 0.02


def test_the_next_checks_offer_each_of_the_two_and_never_a_pin_of_the_second():
    checks = diagnose(BOW, case_of(pin(0.99))).next_checks
    offered = {(one.check, one.position) for one in checks}
    assert {("click", FIRST), ("click", TWIN)} <= offered
    assert ("pin", TWIN) not in offered
    stuck = diagnose(BOW, case_of(pin(0.01, LATCHES_OPEN))).next_checks
    assert {("pin-by-hand", FIRST), ("pin-by-hand", TWIN)} <= {(one.check, one.position) for one in stuck}


def test_by_hand_costs_reaching_both_and_pays_it_for_both():
    found = diagnose(BOW, case_of(pin(0.01, LATCHES_OPEN))).next_checks
    minutes = {one.position: one.minutes for one in found if one.check == "pin-by-hand"}
    alone = BOW.positions[TWIN].minutes
    assert minutes[TWIN] == minutes[FIRST] > 1.5 * alone
    after = diagnose(BOW, case_of(pin(0.01, LATCHES_OPEN), by_hand(TWIN, released=0.01))).next_checks
    assert next(one for one in after if (one.check, one.position) == ("click", FIRST)).minutes < 3


def test_a_second_switch_that_comes_and_goes_is_worth_another_reading_at_the_pin():
    jumps = {"check": "wiggle", "position": TWIN, "steady": False}
    steady = {"check": "wiggle", "position": FIRST, "steady": True}
    entries = [pin(0.01), pin(0.99), jumps, jumps, steady, steady, click(TWIN, heard=True), click(FIRST, heard=True)]
    belief = believe(BOW, case_of(*entries))
    shares = dict(zip(belief.model.faults, belief.shares, strict=True))
    assert shares[Fault(TWIN, "comes-and-goes")] > 0.5
    assert shares[Fault(FIRST, "comes-and-goes")] < 0.1
    offered = diagnose(BOW, case_of(*entries)).next_checks
    assert ("pin", FIRST, "closed") in {(one.check, one.position, one.pose) for one in offered}


def test_work_on_one_of_the_two_keeps_what_is_believed_of_the_other():
    before = [pin(0.99), click(FIRST, heard=False), click(TWIN, heard=True)]
    after = pin(0.99, after_work=True)
    stuck = Fault(FIRST, "never-makes")
    wrong_one, same_one = (shares_of(*before, after, recent_work=[code]).get(stuck, 0.0) for code in (TWIN, FIRST))
    assert wrong_one > 0.5
    assert same_one < 0.5 * wrong_one
    right_one = shares_of(*before, pin(0.01, after_work=True), recent_work=[FIRST])
    assert at(right_one, FIRST) + at(right_one, TWIN) < 0.15


# --- proof


def proof(*entries, system=BOW):
    return proof_of(system, case_of(*entries).observations)


def test_poses_prove_made_of_both_and_released_of_none_where_both_change_together():
    states = proof(pin(0.01), pin(0.99, LATCHES_OPEN))
    assert [(states[code].made, states[code].released) for code in (FIRST, TWIN)] == [(True, False)] * 2


def test_by_hand_one_after_the_other_proves_both():
    one = proof(by_hand(TWIN))
    assert one[TWIN].proven
    assert (one[FIRST].made, one[FIRST].released) == (True, False)
    both_of_them = proof(by_hand(TWIN), by_hand(FIRST))
    assert both_of_them[FIRST].proven
    assert both_of_them[TWIN].proven
    assert not proof(by_hand(TWIN, released=0.01))[TWIN].made  # a finding proves nothing


def test_a_pose_in_which_they_differ_proves_the_one_that_is_released():
    states = proof(pin(0.01), pin(0.99, LATCHES_OPEN), system=apart())
    assert states[FIRST].proven
    assert (states[TWIN].made, states[TWIN].released) == (True, False)


@pytest.mark.parametrize("code", [FIRST, TWIN])
def test_work_on_either_voids_the_proof_of_both(code):
    before = [by_hand(TWIN), by_hand(FIRST)]
    states = proof(*before, by_hand(code, after_work=True))
    other = partner_of(BOW, code)
    assert states[code].proven
    assert (states[other].made, states[other].released) == (True, False)
    assert not proof(*before, click(code, heard=True) | {"after_work": True})[other].made
