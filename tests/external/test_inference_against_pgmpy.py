"""The posterior against variable elimination by a general library: pgmpy (Ankan and Panda 2015), same model, other
algebra.

Sets of three everywhere. With a motion in it elimination takes seconds a suspect on the smallest shipped system (three
steps, eight sensors) and does not end in minutes, or not within the memory, on the two larger ones: there motions are
held against walking them one by one (tests/diagnostics/test_inference.py), and everything else against the library.
"""

import logging
import random

import numpy as np
import pytest

from diagnostics.engine.case import parse_case
from diagnostics.engine.faults import modes_of
from diagnostics.engine.inference import believe
from diagnostics.engine.results import Fault
from diagnostics.engine.simulate import Bench
from diagnostics.engine.system.model import TopSystem
from tests.diagnostics.small_system import case_data, small_system
from tests.diagnostics.systems import SLUGS, shipped

pytestmark = [
    # pgmpy announces its own coming changes and those of what it imports; none of it is ours to mend.
    pytest.mark.filterwarnings("ignore::FutureWarning"),
    pytest.mark.filterwarnings("ignore::DeprecationWarning"),
]
TOLERANCE = 1e-6


def random_case(system: TopSystem, seed: int) -> dict:
    """Evidence of every kind at a position, of a car with two faults."""
    rng = random.Random(seed)  # noqa: S311 - repeatable draws
    switches = [code for code, p in system.positions.items() if p.kind == "switch" and p.pin is not None]
    faults = [Fault(code, rng.choice(modes_of(system, code))) for code in rng.sample(switches, 2)]
    bench = Bench(system, faults, rng)
    makes = [bench.read, bench.by_hand, bench.click, bench.wiggle, bench.continuity, bench.look]
    broken = [fault.position for fault in faults]
    entries = [rng.choice(makes)(code) for code in [*broken, *rng.choices(switches, k=6)]]
    return case_data(system=system.system, observations=[*entries, bench.battery()])


def with_motion(system: TopSystem, case: dict, seed: int) -> dict:
    """By turns a trial or a complaint about any step. One motion at a time: with two, elimination takes minutes."""
    rng = random.Random(seed)  # noqa: S311 - repeatable draws
    motion = rng.choice(("open", "close"))
    step = rng.choice(system.step_names(motion))
    if seed % 2:
        trial = {"check": "motion", "motion": motion, "stops_at": step, "lamp": "flashing", "seconds": {}}
        return case | {"observations": [*case["observations"], trial]}
    return case | {"complaint": {"motion": motion, "stops_at": step, "lamp": "flashing"}}


def compare(system: TopSystem, case: dict, max_faults: int, places: tuple[int, ...]) -> None:
    """Suspects by their place in the list, by both."""
    from pgmpy.inference import VariableElimination

    from tests.external.bayesian_network import network_of

    logging.getLogger("pgmpy").setLevel(logging.ERROR)
    belief = believe(system, parse_case(case), max_faults=max_faults)
    network = network_of(belief.model, belief.chances, belief.posterior.epochs[0].factors)
    assert network.net.check_model()
    elimination = VariableElimination(network.net)
    order = np.argsort(-belief.shares, kind="stable")
    for place in places:
        fault = int(order[place])
        answer = elimination.query([f"f{fault}"], evidence=network.evidence, show_progress=False)
        assert answer.values[1] == pytest.approx(belief.shares[fault], abs=TOLERANCE)


@pytest.mark.parametrize("max_faults", [1, 2, 3])
@pytest.mark.parametrize("seed", [1, 2])
def test_marginals_are_those_of_variable_elimination(seed, max_faults):
    system = small_system()
    compare(system, with_motion(system, random_case(system, seed), seed), max_faults, (0, 1, 2, 3, 30, 31))


@pytest.mark.parametrize("slug", SLUGS)
@pytest.mark.parametrize("seed", range(3, 8))
def test_on_the_shipped_systems_too(slug, seed):
    system = shipped(slug)
    compare(system, random_case(system, seed), 3, (0, 1, 2, 40))


def test_with_a_motion_on_a_shipped_system():
    system = shipped("softline-electro")
    compare(system, with_motion(system, random_case(system, 2), 2), 2, (0,))
