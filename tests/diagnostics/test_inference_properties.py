"""What must hold of the posterior for every system and every case, on generated ones."""

from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnostics.engine import trials
from diagnostics.engine.case import parse_case
from diagnostics.engine.compiled import compile_system, compiled
from diagnostics.engine.evidence import SiteFactor
from diagnostics.engine.faults import faults_of
from diagnostics.engine.hypotheses import FaultSets, crowd_of, fault_sets, heaviest, marginals, sums, together
from diagnostics.engine.inference import Belief, believe
from diagnostics.engine.joint import Joint
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.weighing import fresh_odds, renewed
from tests.diagnostics.generated import belief_of, cases, known_system, steady
from tests.diagnostics.small_system import DATA, case_data, pin, small_system
from tests.diagnostics.systems import SLUGS, shipped

# --- the arithmetic over all sets, against going through them one by one


@pytest.fixture(params=[(1, 1), (2, 3), (5, 1), (6, 2), (7, 3), (9, 3)])
def sets(request: pytest.FixtureRequest) -> FaultSets:
    return fault_sets(*request.param)


def members_of(sets: FaultSets) -> list[frozenset[int]]:
    return [frozenset(chosen) for size in range(sets.k + 1) for chosen in combinations(range(sets.n), size)]


def test_sums_and_marginals_are_those_of_every_set(sets):
    rng = np.random.default_rng(1)
    values, weights, members = rng.random(sets.n), rng.random(len(sets)), members_of(sets)
    assert sums(sets, values) == pytest.approx([sum(values[i] for i in one) for one in members])
    expected = [
        [sum(w for w, s in zip(weights, members, strict=True) if {i, j} <= s) for i in range(sets.n)]
        for j in range(sets.n)
    ]
    assert together(sets, weights) == pytest.approx(np.array(expected))
    assert marginals(sets, weights) == pytest.approx(np.diag(expected))


def test_a_crowd_is_every_set_with_two_or_more_of_some_faults(sets):
    some = tuple(range(0, sets.n, 2))
    crowd, members = crowd_of(sets, some), members_of(sets)
    assert sorted(crowd.places) == [h for h, one in enumerate(members) if len(one & set(some)) >= 2]
    local = fault_sets(len(some), sets.k).members
    for place, code, beside in zip(crowd.places, crowd.local, crowd.besides, strict=True):
        here = {some[i] for i in local[code] if i < len(some)}
        assert here == members[place] & set(some)
        assert members[place] - here == ({int(beside)} - {sets.n})


@given(st.lists(st.sampled_from([0.0, 1e-30, 1e-6, 0.1, 0.1, 0.7]), min_size=1, max_size=40), st.integers(1, 50))
def test_the_heaviest_are_those_of_a_stable_sort(weights, most):
    weights = np.array([*weights, 0.5])
    assert heaviest(weights, most).tolist() == np.argsort(-weights, kind="stable")[:most].tolist()


# --- the posterior, against each hypothesis by itself


def by_definition(belief: Belief) -> np.ndarray:
    """(H,) weights, each hypothesis multiplied out by itself: prior, local tables, and its own walk through motions."""
    model = belief.model
    places = np.arange(len(model.sets))
    odds = np.append(belief.chances / (1 - belief.chances), 1.0)
    weights = np.prod(odds[model.sets.members], axis=1)
    for factor in belief.posterior.epochs[0].factors:
        if isinstance(factor, SiteFactor):
            local = [frozenset(row) for row in _local(belief, factor.site)]
            known = dict(zip(local_sets(belief, factor.site), factor.table, strict=True))
            weights = weights * np.array([known[one] for one in local])
        else:
            weights = weights * factor.likelihood(model, places)
    return weights / weights.sum()


def _local(belief: Belief, site: str) -> list[set[int]]:
    own = set(belief.model.sites[site].faults)
    return [set(row.tolist()) & own for row in belief.model.sets.members]


def local_sets(belief: Belief, site: str) -> list[frozenset[int]]:
    own = belief.model.sites[site].faults
    return [frozenset(one) for size in range(belief.model.most + 1) for one in combinations(own, size)]


@settings(max_examples=8, deadline=None)
@given(cases())
def test_the_weights_are_those_of_each_hypothesis_by_itself(drawn):
    system, case = drawn
    case = case | {"observations": [entry for entry in case["observations"] if not entry.get("after_work")]}
    belief = belief_of(system, case, max_faults=2)
    assert belief.posterior.weights == pytest.approx(by_definition(belief), abs=1e-12)


@pytest.mark.parametrize("max_faults", [2, 3])
def test_work_draws_anew_what_was_worked_on_and_nothing_else(max_faults):
    """Each set by itself: the old weight of its part elsewhere, summed over all that the worked position may have had,
    times the odds of the fresh faults there."""
    system = known_system(frozenset({"BG1", "BG4", "BG5"}))
    case = parse_case(case_data(observations=[pin("BG3", 0.5), pin("BG2", 0.99)]))
    belief = believe(system, case, max_faults=max_faults)
    model, old = belief.model, belief.posterior.weights
    inside = {i for i, fault in enumerate(model.faults) if "BG3" in (fault.position, fault.input)}
    fresh = fresh_odds(model, belief.chances, frozenset({"BG3"}))
    members = members_of(model.sets)
    elsewhere: dict[frozenset[int], float] = {}
    for one, weight in zip(members, old, strict=True):
        elsewhere[one - inside] = elsewhere.get(one - inside, 0.0) + weight
    expected = np.array([elsewhere[one - inside] * np.prod(fresh[sorted(one & inside)]) for one in members])
    prior, log_total = renewed(model, belief.chances, old, frozenset({"BG3"}))
    assert prior.rest is not None
    assert np.exp(prior.rest) == pytest.approx(expected / expected.sum(), abs=1e-14, rel=1e-9)
    assert np.exp(log_total) == pytest.approx(expected.sum())
    disturbed = model.faults.index(Fault("BG3", "unplugged"))
    assert fresh[disturbed] == pytest.approx(8.0 * belief.chances[disturbed] / (1 - belief.chances[disturbed]))


@pytest.mark.parametrize("slug", [*SLUGS, "small-top"])
def test_what_looks_alike_to_a_motion_goes_alike(slug):
    """Every class is walked once; hypotheses drawn at random go as each would by itself."""
    system = small_system() if slug == "small-top" else shipped(slug)
    model = compiled(system, 3)
    drawn = np.random.default_rng(7).integers(0, len(model.sets), 4000)
    drawn = np.concatenate([np.arange(len(model.faults) + 1), drawn])
    for motion in system.motions:
        stops, runs = trials.ways_to_stop(model, motion, drawn)
        classes = trials.classes(model, motion)
        assert len(classes.places) < len(model.sets)
        walked, to_the_end = trials.ways_to_stop(model, motion, classes.places[classes.codes[drawn]])
        assert to_the_end == pytest.approx(runs, abs=1e-12)
        for one, other in zip(stops, walked, strict=True):
            for what in ("not_started", "early", "stalled", "unreported"):
                assert getattr(other, what) == pytest.approx(getattr(one, what), abs=1e-12)
        for step in system.motions[motion].steps:
            pace = trials.alike_in_time(model)
            kept = [trials.site_table(model, code, trials.effects.keeps_time) for code in trials.needed(model, step)]
            sites = [model.codes(code, drawn) for code in trials.needed(model, step)]
            alone = np.prod([table[codes] for table, codes in zip(kept, sites, strict=True)], axis=0)
            shared = trials.keeps_time(model, step)[pace.codes[drawn]] / (1.0 - trials.observe.SLOW_SOUND)
            assert shared == pytest.approx(alone, abs=1e-12)


@steady
@given(cases(), st.integers(1, 3))
def test_probabilities_are_a_distribution(drawn, max_faults):
    system, case = drawn
    belief = belief_of(system, case, max_faults)
    weights, n = belief.posterior.weights, len(belief.model.faults)
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    assert (weights >= 0).all()
    assert ((belief.shares >= 0) & (belief.shares <= 1 + 1e-12)).all()
    assert ((belief.repairs >= -1e-12) & (belief.repairs <= 1 + 1e-12)).all()
    assert belief.posterior.unweighed == 0.0
    asked = [int(np.argmax(belief.shares)), 0, n - 1]
    there = [weights[(belief.model.sets.members == fault).any(axis=1)].sum() for fault in asked]
    assert belief.shares[asked] == pytest.approx(there, abs=1e-12)
    mends = np.array([*belief.model.repairs, ""])[belief.model.sets.members]
    needed = [weights[(mends == repair).any(axis=1)].sum() for repair in belief.model.repair_names]
    assert belief.repairs == pytest.approx(needed, abs=1e-12)


@steady
@given(cases())
def test_what_is_believed_of_a_site_and_a_fault_together(drawn):
    belief = belief_of(*drawn)
    model, weights = belief.model, belief.posterior.weights
    joint = Joint(model, weights)
    for code in ("BG3", "KF1"):
        codes = model.codes(code)
        whole, with_fault = joint.at(code)
        assert whole == pytest.approx(np.bincount(codes, weights=weights, minlength=len(whole)), abs=1e-12)
        for fault in (0, model.sites[code].faults[0], len(model.faults) - 1):
            there = (model.sets.members == fault).any(axis=1)
            expected = np.bincount(codes[there], weights=weights[there], minlength=len(whole))
            assert with_fault[:, fault] == pytest.approx(expected, abs=1e-12)


@steady
@given(cases(), st.randoms(use_true_random=False))
def test_the_order_of_evidence_does_not_matter(drawn, rng):
    system, case = drawn
    mixed = case | {"observations": rng.sample(case["observations"], len(case["observations"]))}
    one, other = belief_of(system, case), belief_of(system, mixed)
    assert other.posterior.weights == pytest.approx(one.posterior.weights, abs=1e-12)


@steady
@given(cases())
def test_a_check_elsewhere_moves_the_others_by_no_more_than_the_number_of_faults_allows(drawn):
    """Faults are independent but for the limit on their number. So a battery reading leaves the weights of all sets
    with the low supply in proportion, and those without it; and the share of any other fault moves by no more than
    the move of the supply's own share, times how much the two sides differ about that fault."""
    system, case = drawn
    before = belief_of(system, case)
    after_work = any(entry.get("after_work") for entry in case["observations"])
    reading = {"check": "battery", "volts": 11.3, "after_work": after_work}
    if after_work:
        # A first reading after work draws the supply's faults anew: that one is made before the comparison.
        case = case | {"observations": [*case["observations"], reading]}
        before = belief_of(system, case)
    after = belief_of(system, case | {"observations": [*case["observations"], reading]})
    supply = before.model.faults.index(Fault("GB1", "low"))
    low = (before.model.sets.members == supply).any(axis=1)
    for side in (low, ~low):
        one, other = before.posterior.weights[side], after.posterior.weights[side]
        assert other / other.sum() == pytest.approx(one / one.sum(), abs=1e-12)
    with_low, without = (
        marginals(before.model.sets, np.where(side, before.posterior.weights, 0.0))
        / before.posterior.weights[side].sum()
        for side in (low, ~low)
    )
    moved = abs(after.shares[supply] - before.shares[supply])
    others = np.arange(len(before.shares)) != supply
    assert (np.abs(after.shares - before.shares)[others] <= moved * np.abs(with_low - without)[others] + 1e-12).all()


@steady
@given(cases(), st.permutations(sorted(set(DATA["positions"]) - {"KF1", "GB1"})))
def test_renaming_positions_changes_nothing(drawn, order):
    """New codes for all sensors and drives, the kinds' letters kept: the same answer under other names."""
    system, case = drawn
    new = {code: f"{code[:2]}{40 + order.index(code)}" for code in order}

    def renamed(value: Any) -> Any:
        if isinstance(value, dict):
            return {new.get(key, key): renamed(item) for key, item in value.items()}
        if isinstance(value, list | tuple):
            return [renamed(item) for item in value]
        return new.get(value, value) if isinstance(value, str) else value

    one = belief_of(system, case)
    text = system.model_dump(mode="json", by_alias=True, exclude_none=True)
    other = belief_of(TopSystem.model_validate(renamed(text)), renamed(case))
    names = [Fault(new.get(f.position, f.position), f.mode, new.get(f.input, f.input)) for f in one.model.faults]
    theirs = dict(zip(other.model.faults, other.shares, strict=True))
    assert [theirs[name] for name in names] == pytest.approx(one.shares.tolist(), abs=1e-12)


@steady
@given(cases(), st.sampled_from(["KF1", "GP1"]), st.floats(0.5, 60.0))
def test_a_draft_of_the_same_name_never_answers_from_the_published_one(drawn, code, minutes):
    """Same slug, same revision, another declaration: each is prepared by itself, whichever was asked first."""
    system, case = drawn
    changed = system.model_dump(mode="json", by_alias=True, exclude_none=True)
    changed["positions"]["GP9"] = changed["positions"]["GP1"] | {"minutes": minutes}
    draft = TopSystem.model_validate(changed)
    for asked in (system, draft, system):
        belief = belief_of(asked, case, max_faults=2)
        assert belief.model.faults == faults_of(asked)
        assert belief.model.system == asked
        fresh = compile_system(asked, 2)
        assert [len(fresh.sets), fresh.repair_names] == [len(belief.model.sets), belief.model.repair_names]
