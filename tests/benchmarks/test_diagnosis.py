"""Suspects and next checks against variable elimination by a general library (pgmpy), in one run; prints the ratios.

`pytest tests/benchmarks/test_diagnosis.py --benchmark-only -s`. The peer gets the same model without the motions
(with them it does not end in minutes on this system): fault priors, at most k faults, one reading of every sensor. It
answers one suspect a query; the engine all of them at once: timed for this same case, and for the full answer with
the complaint, reasons and next checks.
"""

import logging
import time
from pathlib import Path

import pytest

from diagnostics.engine.case import parse_case
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.motion import pose_of, sensor_state
from diagnostics.engine.system.load import load_system

SYSTEMS = Path(__file__).parents[2] / "fixtures" / "systems"


def sheet(system, complaint):
    """Every sensor read in the first resting pose, one of them wrong."""
    pose, entries = next(iter(system.poses)), []
    for number, (code, position) in enumerate(system.sensors().items()):
        state = sensor_state(position, pose_of(system, pose))
        low = (state == "made") == (position.pin.made_reads == "low")
        share = sum(position.pin.bands[state]) / 2 if position.watches else 0.01 if low != (number == 4) else 0.99
        entries.append({"check": "pin", "position": code, "pose": pose, "volts": 12.4 * share, "supply_volts": 12.4})
    told = {"motion": "close", "stops_at": system.step_names("close")[2]} if complaint else None
    data = {"system": system.system, "car": {"made_on": "2012-05"}, "seen_on": "2024-05-06"}
    return parse_case(data | {"complaint": told, "observations": entries})


@pytest.mark.filterwarnings("ignore::FutureWarning")
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("max_faults", [2, 3])
def test_suspects_and_next_checks(benchmark, max_faults):
    from pgmpy.inference import VariableElimination

    from tests.external.bayesian_network import network_of

    system = load_system((SYSTEMS / "rht-trio.yaml").read_text(encoding="utf-8"), "rht-trio")
    diagnose(system, sheet(system, complaint=True), max_faults=max_faults)  # prepares the system once
    benchmark.pedantic(
        diagnose, args=(system, sheet(system, complaint=True)), kwargs={"max_faults": max_faults}, rounds=10
    )
    ours = benchmark.stats.stats.median

    case = sheet(system, complaint=False)
    start = time.perf_counter()
    for _round in range(10):
        belief = believe(system, case, max_faults=max_faults)
    same = (time.perf_counter() - start) / 10
    network = network_of(belief.model, belief.chances, belief.posterior.epochs[0].factors)
    logging.getLogger("pgmpy").setLevel(logging.ERROR)
    elimination = VariableElimination(network.net)
    top = int(belief.shares.argmax())
    start = time.perf_counter()
    answer = elimination.query([f"f{top}"], evidence=network.evidence, show_progress=False)
    one = time.perf_counter() - start
    assert answer.values[1] == pytest.approx(belief.shares[top], abs=1e-6)
    n = len(belief.model.faults)
    print(
        f"\n{n} faults, sets of up to {max_faults} ({len(belief.model.sets)}): this posterior {1000 * same:.1f} ms, "
        f"the full answer {1000 * ours:.1f} ms; variable elimination {1000 * one:.0f} ms a suspect.\n"
        f"Ratio for all {n} suspects: {n * one / same:.0f} (same posterior), {n * one / ours:.0f} (full answer); "
        f"for one suspect alone: {one / same:.1f}"
    )
