"""Suspects and next checks against variable elimination by a general library (pgmpy), in one run; prints the ratios.

`OPENBLAS_NUM_THREADS=1 pytest tests/benchmarks/test_diagnosis.py --benchmark-only -s`. The peer gets the same model
without the motions (with them it does not end in minutes on these systems): fault priors, at most k faults, one reading
of every sensor. It answers one suspect a query; the engine all of them at once: timed for this same case, and with the
complaint for the posterior with the next checks and for the full answer with reasons and words.
"""

import logging
import statistics
import time
from collections.abc import Callable

import pytest

from diagnostics.engine.case import parse_case
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.motion import due_at, pose_of
from diagnostics.engine.planning import plan_of
from diagnostics.engine.system.series import reported
from tests.diagnostics.cut_system import about_ninety_faults, twelve_switches
from tests.diagnostics.systems import shipped


def sheet(system, complaint):
    """Every sensor read in the first resting pose, one of them wrong."""
    pose, entries = next(iter(system.poses)), []
    for number, (code, position) in enumerate(system.sensors().items()):
        state = reported(due_at(system, code, pose_of(system, pose)))
        low = (state == "made") == (position.pin.made_reads == "low")
        share = sum(position.pin.bands[state]) / 2 if position.watches else 0.01 if low != (number == 4) else 0.99
        entries.append({"check": "pin", "position": code, "pose": pose, "volts": 12.4 * share, "supply_volts": 12.4})
    told = {"motion": "close", "stops_at": system.step_names("close")[2]} if complaint else None
    data = {"system": system.system, "car": {"made_on": "2012-05"}, "seen_on": "2024-05-06"}
    return parse_case(data | {"complaint": told, "observations": entries})


def planned(system, case, max_faults):
    """Suspects and next checks, without reasons and conflicts."""
    belief = believe(system, case, max_faults=max_faults)
    weights = belief.posterior.weights
    return plan_of(belief.model, case, belief.judgements, weights, belief.shares, belief.chances)


def milliseconds(call: Callable[[], object], rounds: int = 15) -> float:
    """Processor time (median): what else the machine does counts little."""
    times = []
    for _round in range(rounds):
        start = time.process_time()
        call()
        times.append(time.process_time() - start)
    return 1000.0 * statistics.median(times)


SIZES = {
    "90 faults": about_ninety_faults,
    "12 switches": twelve_switches,
    "the largest shipped": lambda: shipped("rht-trio"),
}


@pytest.mark.filterwarnings("ignore::FutureWarning")
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("max_faults", [2, 3])
@pytest.mark.parametrize("size", SIZES)
def test_suspects_and_next_checks(benchmark, size, max_faults):
    from pgmpy.inference import VariableElimination

    from tests.external.bayesian_network import network_of

    system = SIZES[size]()
    told, untold = sheet(system, complaint=True), sheet(system, complaint=False)
    diagnose(system, told, max_faults=max_faults)  # prepares the system once
    benchmark.pedantic(planned, args=(system, told, max_faults), rounds=15)
    plan = milliseconds(lambda: planned(system, told, max_faults))
    posterior = milliseconds(lambda: believe(system, told, max_faults=max_faults))
    full = milliseconds(lambda: diagnose(system, told, max_faults=max_faults))
    same = milliseconds(lambda: believe(system, untold, max_faults=max_faults))

    belief = believe(system, untold, max_faults=max_faults)
    network = network_of(belief.model, belief.chances, belief.posterior.epochs[0].factors)
    logging.getLogger("pgmpy").setLevel(logging.ERROR)
    elimination = VariableElimination(network.net)
    top = int(belief.shares.argmax())
    start = time.process_time()
    answer = elimination.query([f"f{top}"], evidence=network.evidence, show_progress=False)
    one = 1000.0 * (time.process_time() - start)
    assert answer.values[1] == pytest.approx(belief.shares[top], abs=1e-6)
    n = len(belief.model.faults)
    print(
        f"\n{size}: {n} faults, {len(system.sensors())} sensors, up to {max_faults} at once "
        f"({len(belief.model.sets)} sets): posterior {posterior:.1f} ms, with next checks {plan:.1f} ms, "
        f"full answer {full:.1f} ms.\n"
        f"Without motion: posterior {same:.1f} ms; variable elimination {one:.0f} ms a suspect. "
        f"Ratio for all {n} suspects: {n * one / same:.0f}; for one suspect alone: {one / same:.1f}"
    )
