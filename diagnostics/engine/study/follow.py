"""One simulated car followed as in a shop: search until a repair is found, make it, prove it, and go on while a motion
still stops.

A repair is made once it is needed with a chance of at least `SURE`, or where repairing at once is expected to be
shorter than to go on checking. The same rules end the search of every way, reckoned by the same inference; only the
checks differ. Where nothing is left to check, the likeliest is tried. Nobody makes the same repair twice on one car.
A fault counts as *found* where a repair is made and the first suspect has a chance of at least `FOUND`.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field

from diagnostics.engine.case import Case
from diagnostics.engine.faults import repair_of
from diagnostics.engine.inference import Belief, believe
from diagnostics.engine.likely import likely_of
from diagnostics.engine.motion import due_at, pose_of
from diagnostics.engine.offers import Offer
from diagnostics.engine.planning import choice_of
from diagnostics.engine.results import Fault, Judgement
from diagnostics.engine.sitting import MINUTES, Sitting, minutes_of, sitting_of
from diagnostics.engine.study.cars import SimulatedCar
from diagnostics.engine.study.lists import AGAIN, HERE, Item
from diagnostics.engine.system.model import TopSystem

SURE, FOUND = 0.95, 0.9
BUDGET_MINUTES = 480.0
"""A working day at one car: after it the car is given up and its minutes count in full."""
SAID = 0.5
"""Suspects from this chance on are held against the truth."""
MOST_REPAIRS = 8
Listed = Callable[[TopSystem, Case, Sequence[Judgement], str], Iterator[Item]]


@dataclass
class Followed:
    """The end of one car.

    `firsts`: of each time that a fault was found, whether it was there, and whether its repair was needed; `wasted`:
    repairs that mended nothing; `said`: for each suspect and ten per cent the chance with which it first came there,
    and whether it was there; `ran`: both motions did; `sound`: no fault was left, known or not.
    """

    minutes: float = 0.0
    searching: float = 0.0
    checks: int = 0
    firsts: list[tuple[bool, bool]] = field(default_factory=list)
    wasted: int = 0
    said: dict[tuple[Fault, int], tuple[float, bool]] = field(default_factory=dict)
    ran: bool = False
    sound: bool = False


def follow(car: SimulatedCar, listed: Listed | None, max_faults: int) -> Followed:
    """A car through the shop by the suggested checks, or by a list. `max_faults` of the inference."""
    end, done, made = Followed(), set[Item](), set[str]()
    while car.minutes < BUDGET_MINUTES and len(made) < MOST_REPAIRS and not end.ran:
        case = car.case()
        belief = believe(car.system, case, max_faults=max_faults)
        truth = car.bench.faults
        for fault, share in _shares(belief):
            if share >= SAID:
                end.said.setdefault((fault, int(share * 10)), (share, fault in truth))
        left = {
            key: float(p) for key, p in zip(belief.model.repair_names, belief.repairs, strict=True) if key not in made
        }
        found, offer = [key for key, p in left.items() if p >= SURE], None
        likeliest = max(left, key=lambda key: left[key])
        if not found:
            offer, likeliest = _suggested(belief, case, likeliest, made)
        if listed is not None and offer is not None:
            offer = _next(listed, car, case, belief, done)
        if offer is not None:
            car.make(offer, offer.minutes)
            end.checks += 1
            continue
        suspect, share = _first(belief, made)
        if share >= FOUND:
            end.firsts.append((suspect in truth, _key(car, suspect) in {_key(car, fault) for fault in truth}))
        keys = found or [likeliest]
        made |= set(keys)
        end.wasted += _mended(car, case, belief, keys)
        end.ran = car.runs(_trials(car, _sitting(belief, case)))
    end.sound = not car.bench.faults
    end.minutes = car.minutes if end.ran else BUDGET_MINUTES
    end.searching = min(car.searching, BUDGET_MINUTES)
    return end


def _suggested(belief: Belief, case: Case, likeliest: str, made: set[str]) -> tuple[Offer | None, str]:
    """The suggested check, none where repairing at once is shorter, and the repair to make then."""
    posterior = belief.posterior
    offer, ways = choice_of(belief.model, case, belief.judgements, posterior.weights, belief.shares, belief.chances)
    order = [step.repair for step in ways.repair_first if step.repair not in made] or [likeliest]
    shorter = ways.words and ways.repair_first_minutes <= ways.check_first_minutes
    return None if shorter else offer, order[0]


def _sitting(belief: Belief, case: Case) -> Sitting:
    likely = likely_of(belief.model, belief.posterior.weights, belief.chances)
    return sitting_of(belief.model, case, belief.judgements, likely.places, likely.weights)


def _shares(belief: Belief) -> Iterator[tuple[Fault, float]]:
    return zip(belief.model.faults, belief.shares.tolist(), strict=True)


def _first(belief: Belief, made: set[str]) -> tuple[Fault, float]:
    """The likeliest suspect with a repair still to make."""
    repairs = dict(zip(belief.model.faults, belief.model.repairs, strict=True))
    return max((one for one in _shares(belief) if repairs[one[0]] not in made), key=lambda one: one[1])


def _key(car: SimulatedCar, fault: Fault) -> str:
    return repair_of(car.system, fault).key


def _mended(car: SimulatedCar, case: Case, belief: Belief, keys: Sequence[str]) -> int:
    """Make these repairs and read their paths again. How many of them mended nothing."""
    sitting, wasted = _sitting(belief, case), 0
    for key in keys:
        repair = repair_of(car.system, belief.model.faults[belief.model.repairs.index(key)])
        hands_on = repair.minutes - car.system.positions[repair.position].minutes
        wasted += not car.repair(key, hands_on + sitting.reach(repair.position))
        sitting = sitting.after("look", repair.position)
        car.read_again(key, MINUTES["pin-by-hand"] + sitting.uncover)
    return wasted


def _trials(car: SimulatedCar, sitting: Sitting) -> dict[str, float]:
    """Minutes of a whole trial of each motion."""
    return {motion: minutes_of(sitting, "motion", motion) for motion in car.system.motions}


def _next(listed: Listed, car: SimulatedCar, case: Case, belief: Belief, done: set[Item]) -> Offer | None:
    """The first check on the list that is not done and can be made now."""
    sitting = _sitting(belief, case)
    for item in listed(car.system, case, belief.judgements, car.motion):
        if item not in done:
            done.add(item)
            offer = _offer(sitting, *item)
            if offer is not None:
                return offer
    return None


def _offer(sitting: Sitting, check: str, code: str, which: int) -> Offer | None:
    system = sitting.system
    if check == "motion":
        moving = sitting.minutes_to(system.motions[code].start) or 0.0  # type: ignore[index]
        return Offer(check, "", minutes_of(sitting, check, code, moving), moving, motion=code)
    if check != "pin":
        return Offer(check, code, minutes_of(sitting, check, code))
    poses = [one for one in sitting.poses if which == AGAIN or not sitting.made("pin", code, one[0])]
    if not poses or (which == HERE and poses[0][1] > 0.0):
        return None
    pose, moving = poses[0]
    due = due_at(system, code, pose_of(system, pose))
    return Offer("pin", code, minutes_of(sitting, "pin", code, moving), moving, pose=pose, due=due)
