"""The posterior against variable elimination by a general library: pgmpy (Ankan and Panda 2015), same model, other
algebra."""

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
    """Evidence of every kind from a bench with two faults, and by turns a trial or a complaint about any step.

    One motion at a time: with two, elimination takes minutes.
    """
    rng = random.Random(seed)  # noqa: S311 - repeatable draws
    switches = [code for code, p in system.positions.items() if p.kind == "switch"]
    faults = [Fault(code, rng.choice(modes_of(system, code))) for code in rng.sample(switches, 2)]
    bench = Bench(system, faults, rng)
    makes = [bench.read, bench.by_hand, bench.click, bench.wiggle, bench.continuity, bench.look]
    entries = [rng.choice(makes)(code) for code in rng.choices(switches, k=6)]
    entries.append(bench.battery())
    motion = rng.choice(("open", "close"))
    if seed % 2:
        return case_data(observations=[*entries, bench.try_motion(motion) | {"seconds": {}}])
    complaint = {"motion": motion, "stops_at": rng.choice(system.step_names(motion)), "lamp": "flashing"}
    return case_data(complaint=complaint, observations=entries)


def compare(system: TopSystem, case: dict, max_faults: int) -> None:
    """The likeliest suspects, and two of the unlikely, by both."""
    from pgmpy.inference import VariableElimination

    from tests.external.bayesian_network import network_of

    logging.getLogger("pgmpy").setLevel(logging.ERROR)
    belief = believe(system, parse_case(case), max_faults=max_faults)
    network = network_of(belief.model, belief.chances, belief.posterior.epochs[0].factors)
    assert network.net.check_model()
    elimination = VariableElimination(network.net)
    order = np.argsort(-belief.shares)
    for fault in [*order[:4], *order[30:32]]:
        answer = elimination.query([f"f{fault}"], evidence=network.evidence, show_progress=False)
        assert answer.values[1] == pytest.approx(belief.shares[fault], abs=TOLERANCE)


@pytest.mark.parametrize("max_faults", [1, 2, 3])
@pytest.mark.parametrize("seed", [1, 2])
def test_marginals_are_those_of_variable_elimination(seed, max_faults):
    system = small_system()
    compare(system, random_case(system, seed), max_faults)


@pytest.mark.parametrize("slug", SLUGS)
@pytest.mark.parametrize("seed", [1, 2])
def test_on_the_shipped_systems_too(slug, seed):
    """Every kind of check at a position; without motions, with which elimination on these does not end in minutes."""
    system = shipped(slug)
    case = random_case(system, seed)
    case["observations"] = [entry for entry in case["observations"] if entry["check"] != "motion"]
    compare(system, case | {"complaint": None, "system": slug}, max_faults=2)
