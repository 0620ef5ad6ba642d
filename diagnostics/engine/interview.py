"""The symptom interview: a handful of questions whose answers become the complaint.

Which motion fails and how far it gets come first, for nothing can be said without them. What is asked then is what
tells most about which repair is right (the expected bits of `planning`, times the chance that a layman knows), until
nothing is worth asking any more or MOST_QUESTIONS were asked.
"""

from collections.abc import Mapping

import numpy as np

from diagnostics.engine import trials
from diagnostics.engine.case import Case, Complaint
from diagnostics.engine.compiled import Compiled, Floats, Ints
from diagnostics.engine.inference import Belief, believe, priors_of
from diagnostics.engine.likely import bits, likely_of
from diagnostics.engine.questions import (
    BOTH,
    UNKNOWN,
    WORKS,
    Answers,
    Question,
    areas_of,
    case_of,
    checked,
    in_the_way,
    question,
    told_of,
    values_of,
)
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.told import told_likelihood

MOST_QUESTIONS = 6
MAX_FAULTS = 2
"""Faults at once that the interview thinks of: what a layman tells never speaks for a third one."""
WORTH_ASKING = 0.02
"""Bits about the right repair below which a question only tires."""
KNOWS: Mapping[str, float] = {
    # chance that a layman can answer, common practice, no source
    "lamp": 0.70,
    "sound": 0.85,
    "when": 0.95,
    "battery": 0.80,
    "recent": 0.75,
    "hand": 0.95,  # they can look
}
IN_THE_WAY = 0.06
"""Chance that a car's complaint comes from a divider, a cover or a lid that stands in the way: common practice, no
source."""
WORKED_ON = 0.15
"""Chance that somebody worked on the car near the top shortly before: common practice, no source."""

_WITHOUT_COMPLAINT = ("when", "recent", "battery")
"""Asked for the words alone where nothing says where the top stops."""


def path(system: TopSystem, given: Mapping[str, str]) -> tuple[dict[str, str], Question | None]:
    """The answers in the order in which they are asked for, and the question that comes next (None: it is over).

    What is given beside the path is left out. Raises CaseError as `checked`.
    """
    rest = checked(system, given)
    answers: dict[str, str] = {}
    while (asked := next_question(system, answers)) is not None and asked.name in rest:
        answers[asked.name] = rest[asked.name]
    return answers, asked


def next_question(system: TopSystem, answers: Answers) -> Question | None:
    """What to ask now; None when enough is known. `answers` are `checked`."""
    name = _next_name(system, answers)
    return question(system, name, answers) if name else None


def _next_name(system: TopSystem, answers: Answers) -> str:
    fails = answers.get("fails")
    if len(answers) >= MOST_QUESTIONS or fails == UNKNOWN:
        return "" if fails else "fails"
    if fails is None:
        return "fails"
    if fails == BOTH and "tried" not in answers:
        return "tried"
    if fails != WORKS and "stops" not in answers:
        return "stops"
    told = told_of(system, answers)
    if told.first:
        return ""
    if told.complaint is None:
        return next((name for name in _WITHOUT_COMPLAINT if name not in answers), "")
    gains = gains_of(system, answers)
    best = max(gains, key=lambda name: gains[name], default="")
    return best if best and gains[best] >= WORTH_ASKING else ""


# What a question is worth does not depend on the car's age: any month does.
_ANY_MONTH, _ANY_DAY = "2000-01", "2000-01-01"


def gains_of(system: TopSystem, answers: Answers) -> dict[str, float]:
    """Expected bits about the right repair of every question still open, times the chance that it can be answered."""
    case = case_of(system, answers, made_on=_ANY_MONTH, climate="temperate", seen_on=_ANY_DAY)
    belief = believe(system, case, max_faults=MAX_FAULTS)
    likely = likely_of(belief.model, belief.posterior.weights, belief.chances)
    gains = {}
    for name in KNOWS:
        if name in answers:
            continue
        if name == "hand":
            gains[name] = KNOWS[name] * _hand_bits(belief, case)
            continue
        shares = _answer_shares(belief, case, answers, name, likely.places)
        joint = np.add.reduceat(likely.weights[:, None] * np.column_stack(shares), likely.starts, axis=0)
        gains[name] = KNOWS[name] * bits(joint / joint.sum())
    return gains


def _answer_shares(belief: Belief, case: Case, answers: Answers, name: str, places: Ints) -> list[Floats]:
    """(m,) chance of each answer under the likely hypotheses, the complaint so far given."""
    model = belief.model
    if name == "recent":
        return _recent_shares(belief, case, places)
    assert case.complaint is not None  # noqa: S101 - asked only behind where it stops
    so_far = told_likelihood(model, case.complaint, places)
    found = []
    for value in values_of(name):
        with_it = told_of(model.system, {**answers, name: value}).complaint
        assert with_it is not None  # noqa: S101 - one more answer takes none away
        found.append(told_likelihood(model, with_it, places) / so_far)
    return found


def _recent_shares(belief: Belief, case: Case, places: Ints) -> list[Floats]:
    model = belief.model
    areas = areas_of(model.system)
    found: list[Floats] = []
    for codes in areas.values():
        moved, _factors = priors_of(model, case.model_copy(update={"recent_work": codes}))
        odds = np.log(moved / (1.0 - moved)) - np.log(belief.chances / (1.0 - belief.chances))
        nothing = float(np.log((1.0 - moved) / (1.0 - belief.chances)).sum())
        # The last one stands for an empty place in a set.
        ratio = nothing + np.append(odds, 0.0)[model.sets.members[places]].sum(axis=1)
        found.append(WORKED_ON / len(areas) * np.exp(ratio))
    worked: Floats = np.sum(found, axis=0)
    return [*found, np.clip(1.0 - worked, 0.0, None)]


def _hand_bits(belief: Belief, case: Case) -> float:
    """Bits of the answer whether something stands in the way: it is the whole cause, or it is not."""
    told = case.complaint
    assert told is not None  # noqa: S101 - asked only behind where it stops
    explained = _explained(belief.model, told)
    if not explained:
        return 0.0
    ratio = IN_THE_WAY * explained / np.exp(belief.posterior.log_evidence)
    chance = ratio / (1.0 + ratio)
    return bits(np.diag([chance, 1.0 - chance]))


def _explained(model: Compiled, told: Complaint) -> float:
    """Chance that a sound top with something in its way is told like this."""
    motion = model.system.motions[told.motion]
    names = [step.name for step in motion.steps]
    weights = trials.told_weights(motion, told.stops_at, told.lamp, layman=True)
    steps = in_the_way(model.system, told.motion).values()
    return max((float(weights[names.index(step) + 1]) for step in steps), default=0.0)
