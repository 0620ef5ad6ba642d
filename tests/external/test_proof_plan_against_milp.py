"""The size of a proof plan against an integer program solved by a general library (HiGHS, through scipy).

The same task written as a covering program: one 0-1 variable a stand and a hand actuation, one 0-1 variable for each
state that counts as shown, at least as many shown states a sensor as are missing; minimise the number chosen.
"""

import random

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from diagnostics.engine.proof import shown_by_hand, trigger_brings
from diagnostics.engine.proof_plan import goals_of, proof_plan, read_in, stands_of
from tests.diagnostics.systems import SLUGS, shipped


def fewest(system, seen, not_by_hand):
    chosen = [frozenset().union(*read_in(system, stand.pose).values()) for stand in stands_of(system)]
    barred = {(code, state) for code in not_by_hand for state in trigger_brings(system, code)}
    chosen += [
        frozenset(shown_by_hand(system, code)) - barred
        for code, position in system.wired().items()
        if position.watches is None
    ]
    goals = sorted(goals_of(system, seen))
    items = [(code, state) for code, _missing, states in goals for state in sorted(states)]
    n, m = len(chosen), len(items)
    covers, at_least = np.zeros((m, n + m)), []
    for row, item in enumerate(items):
        covers[row, :n] = [item in shows for shows in chosen]
        covers[row, n + row] = -1.0
    needs = np.zeros((len(goals), n + m))
    for row, (code, missing, states) in enumerate(goals):
        needs[row, n:] = [item[0] == code for item in items]
        shown = sum(any((code, state) in one for one in chosen) for state in states)
        at_least.append(min(missing, shown))
    cost = np.concatenate([np.ones(n), np.zeros(m)])
    limits = [LinearConstraint(covers, lb=0.0), LinearConstraint(needs, lb=np.array(at_least, dtype=float))]
    result = milp(cost, constraints=limits, integrality=np.ones(n + m), bounds=Bounds(0, 1))
    assert result.success, result.message
    return round(result.fun)


@pytest.mark.parametrize("slug", SLUGS)
@pytest.mark.parametrize("draw", range(12))
def test_as_few_as_the_integer_program_finds(slug, draw):
    rng = random.Random(f"{slug} {draw}")  # noqa: S311 - a test must be repeatable
    system = shipped(slug)
    seen, not_by_hand = {}, set()
    for code, _missing, states in goals_of(system, {}):
        seen[code] = {state for state in sorted(states) if rng.random() < draw / 12}
        if rng.random() < 0.3:
            not_by_hand.add(code)
    plan = proof_plan(system, seen, not_by_hand=not_by_hand)
    assert plan.count == fewest(system, seen, not_by_hand)
