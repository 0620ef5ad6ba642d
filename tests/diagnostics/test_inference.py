"""The posterior: what must hold for every case, and what a colleague would conclude in plain ones."""

import random
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.engine import observe, trials
from diagnostics.engine.answer import as_json
from diagnostics.engine.case import parse_case
from diagnostics.engine.compiled import compiled
from diagnostics.engine.effects import module_sees, moves
from diagnostics.engine.errors import CaseError
from diagnostics.engine.faults import faults_of
from diagnostics.engine.hypotheses import fault_sets, rank
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.motion import pose_of, sensor_state
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import TopSystem
from tests.diagnostics.small_system import DATA, case_data, pin, small_system

SYSTEM = small_system()
COMPLAINT = {"motion": "close", "stops_at": "roof-over", "lamp": "flashing"}


def diagnosed(max_faults=3, priors=None, system=SYSTEM, **more):
    return diagnose(system, parse_case(case_data(**more)), max_faults=max_faults, priors=priors)


def chances(diagnosis):
    return {suspect.fault: suspect.probability for suspect in diagnosis.suspects}


def sound(code, pose):
    """The reading that a sound sensor gives."""
    position = SYSTEM.positions[code]
    state = sensor_state(position, pose_of(SYSTEM, pose))
    if position.watches:
        return pin(code, sum(position.pin.bands[state]) / 2, pose)
    return pin(code, 0.01 if (state == "made") == (position.pin.made_reads == "low") else 0.99, pose)


# --- fault sets


@pytest.mark.parametrize(("n", "k"), [(1, 1), (3, 3), (6, 2), (7, 3), (2, 3)])
def test_fault_sets_are_all_sets_in_order(n, k):
    sets = fault_sets(n, k)
    expected = [chosen for size in range(k + 1) for chosen in combinations(range(n), size)]
    assert [tuple(row[row < n]) for row in sets.members] == expected
    assert rank(sets.members, n).tolist() == list(range(len(expected)))
    assert sets.size.tolist() == [len(chosen) for chosen in expected]


@pytest.mark.parametrize("k", [0, 4])
def test_impossible_sizes_are_refused(k):
    with pytest.raises(ValueError, match="sets of 1 to 3"):
        diagnosed(max_faults=k)


# --- motion: the closed form against one case after the other


def enumerate_outcomes(system: TopSystem, motion: str, faults: tuple[Fault, ...]) -> dict[int | str, float]:
    """Every way a motion can go, walked step by step on actual poses with all draws of the module's view enumerated.

    Returns outcome -> chance: 'no-start', number of the step at which it stops, 'ran'. Written on its own: it moves a
    pose, and a step can get to its end only if all axes moved by the top stand where its `moves` begin.
    """
    declared = system.motions[motion]

    def modes(code):
        return frozenset(f.mode for f in faults if f.input == code or (f.position == code and not f.input))

    def told(code, wanted, pose):
        held = code == declared.command
        position = system.positions[code]
        due = "made" if held else sensor_state(position, pose)
        return module_sees(position, modes(code), due, wanted)

    def told_all(wanted, pose):
        return float(np.prod([told(code, want, pose) for code, want in wanted.items()]))

    def drive(step):
        codes = [*step.driven_by, *(c for c, p in system.positions.items() if p.kind in ("module", "supply"))]
        return float(np.prod([moves(system.positions[c].kind, modes(c)) for c in set(codes)]))

    found: dict[int | str, float] = {}

    def end(outcome, chance):
        found[outcome] = found.get(outcome, 0.0) + chance

    usual = pose_of(system, declared.start)
    pose, alive = dict(usual), 1.0
    other = {m.command for m in system.motions.values()} - {declared.command}
    seen = told(declared.command, "made", pose) * float(np.prod([told(c, "released", pose) for c in other]))
    end("no-start", 1.0 - seen)
    alive = seen
    for number, step in enumerate(declared.steps):
        starts = told_all(step.starts_when, pose)
        end(number, alive * (1.0 - starts))
        alive *= starts
        early = told_all(step.ends_when, pose)
        end(min(number + 1, len(declared.steps) - 1), alive * early)
        alive *= 1.0 - early
        assert all(pose[axis] == start for axis, (start, _to) in step.moves.items())
        pose |= {axis: to for axis, (_start, to) in step.moves.items()}
        arrives = drive(step) * told_all(step.ends_when, pose)
        end(number, alive * (1.0 - arrives))
        alive *= arrives
    end("ran", alive)
    return found


@pytest.mark.parametrize("motion", ["open", "close"])
@pytest.mark.parametrize("seed", range(3))
def test_outcomes_of_a_motion_are_those_of_walking_it(motion, seed):
    model = compiled(SYSTEM, 3)
    rows = trials.outcomes(model, motion)
    steps = len(SYSTEM.motions[motion].steps)
    assert np.allclose(rows.sum(axis=0), 1.0)
    rng = random.Random(seed)  # noqa: S311 - repeatable draws
    singles = list(range(len(model.faults) + 1)) if seed == 0 else []
    for h in singles + [rng.randrange(len(model.sets)) for _ in range(150)]:
        faults = tuple(model.faults[i] for i in model.sets.members[h] if i < len(model.faults))
        walked = enumerate_outcomes(SYSTEM, motion, faults)
        expected = [walked.get(key, 0.0) for key in ("no-start", *range(steps), "ran")]
        assert rows[:, h] == pytest.approx(expected, abs=1e-12), faults


def test_frequencies_of_a_simulated_motion():
    """The bench draws one look after the other; for a fault that comes and goes its frequencies are the chances."""
    from diagnostics.engine.simulate import Bench

    fault = Fault("BG3", "comes-and-goes")
    model = compiled(SYSTEM, 1)
    column = trials.outcomes(model, "close")[:, 1 + model.faults.index(fault)]
    bench, n = Bench(SYSTEM, [fault], random.Random(5)), 4000  # noqa: S311 - repeatable draws
    seen = [bench.try_motion("close")["stops_at"] for _ in range(n)]
    for name, chance in zip([*SYSTEM.step_names("close"), None], column[1:], strict=True):
        assert seen.count(name) / n == pytest.approx(chance, abs=4 * (chance * (1 - chance) / n) ** 0.5 + 1e-9)


@pytest.mark.parametrize("layman", [True, False])
def test_told_stops_are_a_distribution(layman):
    motion = SYSTEM.motions["close"]
    names = [*(step.name for step in motion.steps), *([] if layman else [None])]
    total = sum(trials.told_weights(motion, name, None, layman=layman) for name in names)
    # A customer of a top that runs mostly has no complaint at all.
    assert total[:-1] == pytest.approx(1.0)
    assert total[-1] == pytest.approx(observe.COMPLAINT_NOTHING if layman else 1.0)


# --- what must hold always


def one_check(check, field, positions, values):
    return st.builds(
        lambda position, value: {"check": check, "position": position, field: value},
        st.sampled_from(positions),
        st.sampled_from(values),
    )


shares = st.sampled_from([0.01, 0.2, 0.5, 0.99])
poses = st.sampled_from(["top-open", "top-closed"])
entries = st.one_of(
    st.builds(pin, st.sampled_from(["BG1", "BG2", "BG3", "BG4", "BG5"]), shares, poses),
    one_check("click", "heard", ["BG2", "BG3"], [True, False]),
    one_check("wiggle", "steady", ["BG2", "BG4"], [True, False]),
    one_check("continuity", "ohms", ["BG3"], [0.5, 30.0, None]),
    one_check("look", "found", ["MM1"], ["nothing", "leaks", "binds"]),
    st.builds(lambda v: {"check": "battery", "volts": v}, st.sampled_from([11.2, 12.2, 12.7])),
    st.builds(
        lambda s, t: {"check": "motion", "motion": "close", "stops_at": s, "seconds": {"lid-up": t}},
        st.sampled_from([None, "roof-over", "lid-down"]),
        st.sampled_from([5.0, 9.0]),
    ),
)


@settings(max_examples=40, deadline=None)
@given(st.lists(entries, max_size=8), st.booleans(), st.integers(1, 3))
def test_probabilities_sum_to_one(observations, complained, max_faults):
    case = parse_case(case_data(complaint=COMPLAINT if complained else None, observations=observations))
    belief = believe(SYSTEM, case, max_faults=max_faults)
    assert belief.posterior.weights.sum() == pytest.approx(1.0)
    assert (belief.posterior.weights >= 0).all()
    assert belief.shares.sum() == pytest.approx(float(belief.model.sets.size @ belief.posterior.weights))
    assert belief.posterior.log_evidence <= 1e-9


@settings(max_examples=25, deadline=None)
@given(st.lists(entries, min_size=2, max_size=6), st.randoms(use_true_random=False))
def test_order_of_evidence_does_not_matter(observations, rng):
    mixed = rng.sample(observations, len(observations))
    one, other = (believe(SYSTEM, parse_case(case_data(observations=o))) for o in (observations, mixed))
    assert other.shares == pytest.approx(one.shares, abs=1e-12)


@settings(max_examples=25, deadline=None)
@given(st.lists(entries, max_size=5))
def test_a_check_elsewhere_moves_the_others_by_no_more_than_normalisation(observations):
    """A battery reading says nothing about a switch: given the supply's own fault, the rest keeps its proportions."""
    model = compiled(SYSTEM, 3)
    supply = model.faults.index(Fault("GB1", "low"))
    without = believe(SYSTEM, parse_case(case_data(observations=observations))).posterior.weights
    more = [*observations, {"check": "battery", "volts": 11.3}]
    with_it = believe(SYSTEM, parse_case(case_data(observations=more))).posterior.weights
    elsewhere = (model.sets.members != supply).all(axis=1)
    for part in (elsewhere, ~elsewhere):
        ratio = with_it[part] / without[part]
        assert ratio == pytest.approx(ratio[0], rel=1e-9)


def test_renaming_positions_changes_nothing():
    names = {"BG2": "BG12", "BG3": "BG11", "GP1": "GP7", "KF1": "KF3"}
    import json

    text = json.dumps(DATA)
    for old, new in names.items():
        text = text.replace(f'"{old}"', f'"{new}"')
    renamed = TopSystem.model_validate(json.loads(text))
    entries = [pin("BG2", 0.99), pin("BG3", 0.5)]
    called = [entry | {"position": names[entry["position"]]} for entry in entries]
    ours = chances(diagnosed(complaint=COMPLAINT, observations=entries))
    theirs = chances(diagnosed(system=renamed, complaint=COMPLAINT, observations=called))

    def new_name(fault):
        return Fault(names.get(fault.position, fault.position), fault.mode, names.get(fault.input, fault.input))

    assert {new_name(fault): p for fault, p in ours.items()} == pytest.approx(theirs)


# --- what a colleague would say


def test_nothing_known_is_the_prior():
    diagnosis = diagnosed(max_faults=3)
    priors = dict.fromkeys((Fault("BG2", "stays-made"), Fault("BG3", "never-makes")), 0.004)
    for fault, prior in priors.items():
        assert chances(diagnosis)[fault] == pytest.approx(prior, rel=0.02)
    assert diagnosis.left_out < 1e-3
    assert diagnosed(max_faults=1).left_out > diagnosed(max_faults=2).left_out > diagnosis.left_out > 0


def test_a_complaint_makes_nothing_wrong_unlikely():
    assert diagnosed().nothing_wrong > 0.7
    assert diagnosed(complaint=COMPLAINT).nothing_wrong < 0.05


def test_all_sound_readings_clear_the_sensors():
    observations = [sound(code, pose) for code in SYSTEM.sensors() for pose in ("top-open", "top-closed")]
    before, after = diagnosed(), diagnosed(observations=observations)
    assert after.nothing_wrong > before.nothing_wrong
    assert chances(after).get(Fault("BG2", "never-makes"), 0.0) < 0.1 * chances(before)[Fault("BG2", "never-makes")]


def test_a_wrong_pin_under_a_complaint_points_at_its_path():
    diagnosis = diagnosed(complaint=COMPLAINT, observations=[sound("BG3", "top-open"), pin("BG4", 0.01)])
    assert diagnosis.suspects[0].fault.position == "BG4"
    assert sum(p for f, p in chances(diagnosis).items() if f.position == "BG4") > 0.9
    first = diagnosis.suspects[0]
    assert first.reasons_for[0].observation in (1, -1)
    assert first.reasons_for[0].llr > 0
    assert all(reason.llr < 0 for suspect in diagnosis.suspects for reason in suspect.reasons_against)


def test_a_reason_weighs_what_its_entry_moves_the_odds():
    """The log-likelihood ratio of an entry, all others given, is the change of the log odds that it makes."""
    entries = [sound("BG3", "top-open"), pin("BG4", 0.01), pin("BG4", 0.01), {"check": "battery", "volts": 12.6}]
    entries.append({"check": "motion", "motion": "close", "stops_at": "roof-over", "seconds": {"lid-up": 5.0}})
    whole = believe(SYSTEM, parse_case(case_data(complaint=COMPLAINT, observations=entries)))
    diagnosis = diagnosed(complaint=COMPLAINT, observations=entries)
    compared = 0
    for suspect in diagnosis.suspects[:12]:
        fault = whole.model.faults.index(suspect.fault)
        for reason in suspect.reasons_for + suspect.reasons_against:
            rest = [entry for number, entry in enumerate(entries) if number != reason.observation]
            complaint = None if reason.observation == -1 else COMPLAINT
            without = believe(SYSTEM, parse_case(case_data(complaint=complaint, observations=rest)))
            odds = [np.log(b.shares[fault] / (1 - b.shares[fault])) for b in (whole, without)]
            assert reason.llr == pytest.approx(odds[0] - odds[1], abs=1e-9)
            compared += 1
    assert compared > 5


def test_by_hand_parts_trigger_from_switch():
    wrong = pin("BG3", 0.99, {"lid": "up"})
    hand = {"check": "pin-by-hand", "position": "BG3", "pressed_volts": 0.05, "released_volts": 12.3}
    hand |= {"supply_volts": 12.5}
    diagnosis = diagnosed(observations=[wrong, hand])
    assert diagnosis.suspects[0].fault == Fault("BG3", "out-of-adjustment")


def test_a_click_does_not_clear_the_wire():
    wrong = pin("BG2", 0.99)
    click = {"check": "click", "position": "BG2", "heard": True}
    before, after = (chances(diagnosed(observations=o)) for o in ([wrong], [wrong, click]))
    assert after[Fault("BG2", "open")] > before[Fault("BG2", "open")]
    assert after[Fault("BG2", "never-makes")] < before[Fault("BG2", "never-makes")]


def test_slow_steps_speak_for_a_weak_pump():
    trial = {"check": "motion", "motion": "close", "stops_at": None, "lamp": "off"}
    slow = trial | {"seconds": {"lid-up": 9.0, "roof-over": 9.5, "lid-down": 8.0}}
    assert diagnosed(observations=[slow]).suspects[0].fault == Fault("GP1", "weak")
    usual = trial | {"seconds": {"lid-up": 5.0, "roof-over": 5.0, "lid-down": 5.0}}
    weak = Fault("GP1", "weak")
    assert chances(diagnosed(observations=[usual])).get(weak, 0.0) < chances(diagnosed())[weak]


def test_a_command_that_is_not_seen_leaves_the_lamp_off():
    dark = diagnosed(complaint={"motion": "close", "stops_at": "lid-up", "lamp": "off"})
    flashing = diagnosed(complaint={"motion": "close", "stops_at": "lid-up", "lamp": "flashing"})
    fault = Fault("SF2", "never-makes")
    assert chances(dark)[fault] > 3 * chances(flashing)[fault]


def test_recent_work_raises_what_is_left_unplugged():
    plain, worked = diagnosed(complaint=COMPLAINT), diagnosed(complaint=COMPLAINT, recent_work=["BG4"])
    unplugged = Fault("BG4", "unplugged")
    assert chances(worked)[unplugged] > 3 * chances(plain)[unplugged]
    suspect = next(s for s in worked.suspects if s.fault == unplugged)
    assert any(reason.observation == -2 for reason in suspect.reasons_for)
    beside = Fault("BG6", "unplugged")  # same place of the car
    assert chances(worked)[beside] / chances(worked)[Fault("BG5", "unplugged")] > 1.5


def test_given_priors_replace_the_defaults():
    rare = diagnosed(complaint=COMPLAINT, priors={Fault("QM1", "stuck"): 0.2})
    assert rare.suspects[0].fault == Fault("QM1", "stuck")
    with pytest.raises(ValueError, match="expected between 0 and 1"):
        diagnosed(priors={Fault("QM1", "stuck"): 1.5})


def test_refused_entries_change_nothing_but_are_named():
    refused = pin("BG4", 0.01, ignition=False)
    plain, with_it = diagnosed(complaint=COMPLAINT), diagnosed(complaint=COMPLAINT, observations=[refused])
    assert chances(with_it) == pytest.approx(chances(plain))
    assert any("Entry 1" in warning for warning in with_it.warnings)


@pytest.mark.parametrize(
    "after",
    [
        pin("BG4", 0.99, after_work=True) | {"ignition": False},
        pin("BG4", 0.99, after_work=True) | {"supply_volts": None},
        {"check": "look", "position": "BG4", "found": "some rust", "after_work": True},
    ],
    ids=["ignition off", "no supply", "noted by eye"],
)
def test_an_entry_after_work_that_is_no_evidence_clears_no_suspect(after):
    bad = [pin("BG4", 0.5), pin("BG4", 0.5, "top-closed")]
    assert chances(diagnosed(observations=[*bad, after])) == pytest.approx(chances(diagnosed(observations=bad)))


def test_after_work_the_old_readings_no_longer_count_there():
    wrong = pin("BG4", 0.01)
    good = [pin("BG4", 0.99, after_work=True), pin("BG4", 0.01, "top-closed", after_work=True)]
    trial = {"check": "motion", "motion": "close", "stops_at": None, "after_work": True}
    before = diagnosed(complaint=COMPLAINT, observations=[wrong])
    after = diagnosed(complaint=COMPLAINT, observations=[wrong, *good, trial])
    assert sum(p for f, p in chances(before).items() if f.position == "BG4") > 0.8
    assert max(chances(after).values()) < 0.05
    assert after.nothing_wrong > 0.8


def test_work_on_the_wrong_part_leaves_the_culprit_suspected():
    wrong = pin("BG4", 0.01)
    elsewhere = [pin("BG5", 0.99, after_work=True)]
    after = diagnosed(complaint=COMPLAINT, observations=[wrong, *elsewhere])
    assert sum(p for f, p in chances(after).items() if f.position == "BG4") > 0.8


def test_conflicting_readings_are_named_not_averaged():
    diagnosis = diagnosed(observations=[pin("BG2", 0.01), pin("BG3", 0.99), pin("BG2", 0.99)])
    assert [conflict.entries for conflict in diagnosis.conflicts] == [(0, 2)]
    assert diagnosis.suspects[0].fault == Fault("BG2", "comes-and-goes")
    after_work = diagnosed(observations=[pin("BG2", 0.99), pin("BG2", 0.01, after_work=True)])
    assert not after_work.conflicts


def test_unbelievable_evidence_says_so_and_names_the_entry():
    observations = [{"check": "look", "position": c, "found": "unplugged"} for c in ("BG1", "BG2", "BG3", "BG4", "BG5")]
    diagnosis = diagnosed(observations=[*observations, sound("BG2", "top-open")])
    assert diagnosis.evidence_log10 < -12
    assert diagnosis.surprise is not None
    assert "most surprising is entry 2" in diagnosis.surprise.words
    assert diagnosis.surprise.words in as_json(diagnosis)["warnings"]
    assert diagnosed(observations=[pin("BG2", 0.99)]).surprise is None


def test_minimal_explanations_are_marked():
    both = diagnosed(observations=[pin("BG2", 0.99), pin("BG3", 0.01)])
    first = next(h for h in both.hypotheses if len(h.faults) == 2)
    assert first.minimal
    assert {fault.position for fault in first.faults} == {"BG2", "BG3"}
    assert not any(h.minimal for h in both.hypotheses if len(h.faults) < 2)  # each leaves one reading an error
    assert not next(h for h in diagnosed(observations=[pin("BG2", 0.99)]).hypotheses if len(h.faults) == 2).minimal


def test_impossible_cases_are_refused():
    with pytest.raises(CaseError):
        diagnosed(recent_work=["XX1"])


def test_a_changed_draft_of_the_same_revision_is_not_mistaken_for_the_old_one():
    positions = DATA["positions"] | {"GP2": DATA["positions"]["GP1"]}
    assert len(compiled(small_system(positions=positions), 2).faults) == len(faults_of(SYSTEM)) + 2
    assert len(compiled(SYSTEM, 2).faults) == len(faults_of(SYSTEM))
    assert compiled(SYSTEM, 2) is compiled(small_system(), 2)


def test_answer_has_the_shape_of_the_command():
    priors = {Fault("KF1", "input-dead", "BG4"): 0.05}
    answer = as_json(diagnosed(complaint=COMPLAINT, observations=[pin("BG4", 0.99)], priors=priors))
    assert set(answer) >= {"suspects", "hypotheses", "nothing_wrong", "next_checks", "proof", "warnings"}
    assert set(answer["suspects"][0]) >= {"position", "mode", "probability", "for", "against"}
    check = answer["next_checks"][0]
    assert set(check) >= {"check", "position", "minutes", "bits", "bits_per_minute", "why", "caution"}
    assert answer["proof"]["BG4"] == {"made": True, "released": False}
    dead = [s for s in answer["suspects"] if s["mode"] == "input-dead"]
    assert dead[0]["input"] == "BG4"
    assert {s["input"] for s in dead} <= set(SYSTEM.sensors())
    assert ["KF1", "input-dead", "BG4"] in [fault for h in answer["hypotheses"] for fault in h["faults"]]
    assert sum(h["probability"] for h in answer["hypotheses"]) <= 1 + 1e-9
