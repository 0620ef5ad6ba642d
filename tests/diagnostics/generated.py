"""Generated systems and cases for what must hold of the posterior."""

import random
from functools import cache
from typing import Any

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from diagnostics.engine.case import parse_case
from diagnostics.engine.faults import faults_of
from diagnostics.engine.inference import Belief, believe
from diagnostics.engine.simulate import Bench
from diagnostics.engine.system.model import TopSystem
from tests.diagnostics.small_system import DATA, case_data, small_system

UNREAD = ("BG1", "BG4", "BG5", "MM2", "QM1")
"""Positions of the small top that the generated systems may do without: every step keeps a report and a drive."""


def system_without(gone: frozenset[str]) -> TopSystem:
    """The small top without these positions; no step waits for them or is driven by them."""
    positions = {code: one for code, one in DATA["positions"].items() if code not in gone}
    motions: dict[str, Any] = {}
    for name, motion in DATA["motions"].items():
        steps = [
            step
            | {"driven_by": [code for code in step["driven_by"] if code not in gone]}
            | {w: {c: s for c, s in step[w].items() if c not in gone} for w in ("starts_when", "ends_when")}
            for step in motion["steps"]
        ]
        motions[name] = motion | {"steps": steps}
    return small_system(positions=positions, motions=motions)


@cache
def known_system(gone: frozenset[str]) -> TopSystem:
    return system_without(gone)


systems = st.frozensets(st.sampled_from(UNREAD), max_size=5).map(known_system)


def entries_of(system: TopSystem, rng: random.Random, many: int) -> list[dict]:
    """What is found on a car with up to three faults, by checks of every kind."""
    faults = faults_of(system)
    bench = Bench(system, rng.sample(faults, rng.randint(0, 3)), rng)
    switches = [c for c, p in system.positions.items() if p.kind == "switch" and p.pin is not None]
    makes = [bench.read, bench.by_hand, bench.click, bench.wiggle, bench.continuity, bench.look]
    found = []
    for _entry in range(many):
        draw = rng.random()
        if draw < 0.15:
            found.append(bench.try_motion(rng.choice(["open", "close"])))
        elif draw < 0.25:
            found.append(bench.battery())
        else:
            found.append(rng.choice(makes)(rng.choice(switches)))
    return found


@st.composite
def cases(draw: st.DrawFn) -> tuple[TopSystem, dict]:
    """A generated system and a case on it: with a complaint or not, with work in between or not."""
    system = draw(systems)
    rng = random.Random(draw(st.integers(0, 10**6)))  # noqa: S311 - repeatable draws
    found = entries_of(system, rng, draw(st.integers(0, 7)))
    if draw(st.booleans()):
        found += [entry | {"after_work": True} for entry in entries_of(system, rng, draw(st.integers(1, 3)))]
    told: dict | None = None
    if draw(st.booleans()):
        motion = draw(st.sampled_from(["open", "close"]))
        told = {"motion": motion, "stops_at": draw(st.sampled_from(system.step_names(motion)))}
        told |= {"lamp": draw(st.sampled_from(["flashing", "steady", "off"])), "neither_way": draw(st.booleans())}
        told |= {"sound": draw(st.sampled_from([None, "silent", "runs"]))}
        told |= {key: draw(st.sampled_from([None, True, False])) for key in ("comes_and_goes", "battery_weak")}
    return system, case_data(complaint=told, observations=found)


def belief_of(system: TopSystem, case: dict, max_faults: int = 3) -> Belief:
    return believe(system, parse_case(case), max_faults=max_faults)


steady = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
