"""How good the suspects and next checks are: simulated cars with known faults, followed check by check.

A car comes with what its customer tells (and mixes up as customers do). Its checks are made on the simulated bench,
which runs poses step by step and knows nothing of the inference, with people's slips added. Two ways are compared
under one stopping rule (some repair is needed with a chance of at least `FOUND`): the suggested check each time, and
a fixed order.
"""

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from diagnostics.engine import observe
from diagnostics.engine.case import Case, parse_case
from diagnostics.engine.compiled import compiled
from diagnostics.engine.faults import default_prior, faults_of, repair_of
from diagnostics.engine.inference import Belief, believe
from diagnostics.engine.motion import pose_of
from diagnostics.engine.planning import minutes_of, next_checks
from diagnostics.engine.poses import Pose
from diagnostics.engine.results import Fault
from diagnostics.engine.simulate import Bench
from diagnostics.engine.sitting import Sitting, sitting_of
from diagnostics.engine.system.model import TopSystem

FOUND = 0.9
BUDGET_MINUTES = 480.0
"""A working day at one car: after it the search is given up and its minutes count in full."""


@dataclass(frozen=True, slots=True)
class Search:
    """The end of one search: minutes, checks, whether it came to a verdict, and the ranks of the truth (1 is first)."""

    minutes: float
    checks: int
    found: bool
    fault_ranks: tuple[int, ...]
    repair_ranks: tuple[int, ...]
    calibration: tuple[tuple[float, bool], ...]


@dataclass(frozen=True, slots=True)
class Summary:
    """Shares of cars, in their own words; `minutes` medians over all cars, with those that were given up."""

    cars: int
    found: float
    fault_first: float
    fault_in_three: float
    all_in_three: float
    repair_first: float
    repair_in_three: float
    repair_first_when_found: float
    minutes: float
    checks: float


class SimulatedCar:
    """A car with its true faults on the bench, and the case as it grows."""

    def __init__(self, system: TopSystem, faults: Sequence[Fault], seed: int) -> None:
        self.system = system
        self.rng = random.Random(seed)  # noqa: S311 - a simulation must be repeatable
        self.bench = Bench(system, faults, self.rng)
        self.entries: list[dict[str, Any]] = []
        self.complaint = self._complaint()
        self.minutes = 0.0

    def _complaint(self) -> dict[str, Any] | None:
        told = self.bench.complaint()
        if told is None:
            return None
        names = self.system.step_names(told["motion"])
        at = names.index(told["stops_at"])
        draw = self.rng.random()
        if draw > observe.COMPLAINT_RIGHT + 2 * observe.COMPLAINT_NEIGHBOUR:
            at = self.rng.randrange(len(names))
        elif draw > observe.COMPLAINT_RIGHT:
            at = min(max(at + self.rng.choice((-1, 1)), 0), len(names) - 1)
        lamp = told["lamp"] if self.rng.random() < observe.LAMP_COMPLAINT else self.rng.choice(("off", "steady"))
        return {"motion": told["motion"], "stops_at": names[at], "lamp": lamp}

    def case(self) -> Case:
        return parse_case(
            {
                "system": self.system.system,
                "car": {"made_on": "2012-05"},
                "seen_on": "2024-05-06",
                "complaint": self.complaint,
                "observations": self.entries,
            }
        )

    def make(self, check: str, position: str, pose: Pose | None, motion: str | None) -> None:
        """Make one check on the bench and write down what it showed."""
        if motion is not None:
            self.entries.append(self.bench.try_motion(motion))
        elif check == "battery":
            self.entries.append(self.bench.battery())
        elif check == "pin" and pose is not None:
            self._bring(pose)
            self.entries.append(self._slipped(self.bench.read, position, observe.PIN_SLIP))
        elif check == "pin-by-hand":
            self.entries.append(self._slipped(self.bench.by_hand, position, observe.BY_HAND_SLIP))
        else:
            kinds = {
                "click": self.bench.click,
                "wiggle": self.bench.wiggle,
                "continuity": self.bench.continuity,
                "look": self.bench.look,
            }
            self.entries.append(kinds[check](position))

    def _bring(self, pose: Pose) -> None:
        """By hand where only hand moves are wanted, else by the motion that ends there: a trial by the way."""
        wanted = pose_of(self.system, pose)
        moved = [a for a, axis in self.system.axes.items() if axis.moved == "top" and wanted[a] != self.bench.pose[a]]
        motion = next((name for name, m in self.system.motions.items() if m.end == pose), None)
        if moved and motion is not None and self.system.poses[self.system.motions[motion].start] == self.bench.pose:
            trial = self.bench.try_motion(motion)
            self.entries.append(trial)
            if trial["stops_at"] is not None:
                return
        self.bench.stand(pose)

    def _slipped(self, read: Any, position: str, slip: float) -> dict[str, Any]:
        entry: dict[str, Any] = read(position)
        if self.rng.random() < slip:  # the meter was on another pin
            others = [c for c, p in self.system.sensors().items() if c != position and p.watches is None]
            entry = {**read(self.rng.choice(others)), "position": position}
        return entry


def follow_suggestions(car: SimulatedCar, max_faults: int) -> Search:
    """The suggested check each time, until found, nothing is worth while, or the day is over."""
    while True:
        case = car.case()
        belief = believe(car.system, case, max_faults=max_faults)
        if _over(car, belief):
            return _search(car, belief)
        checks = next_checks(
            belief.model, case, belief.judgements, belief.posterior.weights, belief.shares, belief.chances
        )
        if not checks:
            return _search(car, belief)
        first = checks[0]
        car.minutes += first.minutes
        car.make(first.check, first.position, first.pose, first.motion)


def follow_fixed_order(car: SimulatedCar, max_faults: int) -> Search:
    """Battery, a trial of the motion complained of, every pin in the order of the connector in each pose that can be
    reached, then every sensor by hand, every harness wiggled, every wire measured, every place looked at."""
    order = fixed_order(car.system, car.complaint["motion"] if car.complaint else "close")
    while True:
        case = car.case()
        belief = believe(car.system, case, max_faults=max_faults)
        if _over(car, belief):
            return _search(car, belief)
        sitting = sitting_of(belief.model, case, belief.judgements, belief.posterior.weights)
        upcoming = next(order, None)
        if upcoming is None:
            return _search(car, belief)
        _follow(car, sitting, *upcoming)


def fixed_order(system: TopSystem, motion: str) -> Iterator[tuple[str, str]]:
    """(check, position or motion) in the usual order of a bench list (battery first, then states, wiggle, mechanics):
    common practice, no source."""
    supply = next((code for code, position in system.positions.items() if position.kind == "supply"), "")
    sensors = system.sensors()
    yield "battery", supply
    yield "motion", motion
    for state in ("pin", "pin-in-other-pose"):
        yield from ((state, code) for code in sensors)
    yield from (("pin-by-hand", code) for code, position in sensors.items() if position.watches is None)
    yield from (("wiggle", code) for code in sensors)
    yield from (("continuity", code) for code in sensors)
    yield from (("look", code) for code in system.positions)


def _follow(car: SimulatedCar, sitting: Sitting, check: str, code: str) -> None:
    if check == "motion":
        car.minutes += minutes_of(sitting, check, code, sitting.minutes_to(car.system.motions[code].start) or 0.0)  # type: ignore[index]
        car.make(check, "", None, code)
        return
    if check in ("pin", "pin-in-other-pose"):
        wanted = [(pose, m) for pose, m in sitting.poses if not sitting.made("pin", code, pose)]
        if not wanted:
            return
        pose, moving = wanted[0]
        car.minutes += minutes_of(sitting, "pin", code, moving)
        car.make("pin", code, pose, None)
        return
    car.minutes += minutes_of(sitting, check, code)
    car.make(check, code, None, None)


def _over(car: SimulatedCar, belief: Belief) -> bool:
    done = float(belief.repairs.max()) >= FOUND
    return done or car.minutes >= BUDGET_MINUTES


def _search(car: SimulatedCar, belief: Belief) -> Search:
    model, truth = belief.model, car.bench.faults
    faults = [model.faults[i] for i in (-belief.shares).argsort(kind="stable")]
    repairs = [model.repair_names[i] for i in (-belief.repairs).argsort(kind="stable")]
    needed = {repair_of(car.system, fault).key for fault in truth}
    calibration = tuple(
        (float(share), fault in truth) for fault, share in zip(model.faults, belief.shares, strict=True) if share >= 0.5
    )
    return Search(
        minutes=min(car.minutes, BUDGET_MINUTES),
        checks=len(car.entries),
        found=float(belief.repairs.max()) >= FOUND,
        fault_ranks=tuple(sorted(faults.index(fault) + 1 for fault in truth)),
        repair_ranks=tuple(sorted(repairs.index(repair) + 1 for repair in needed)),
        calibration=calibration,
    )


def draw_cars(system: TopSystem, n: int, size: int, seed: int) -> list[tuple[tuple[Fault, ...], int]]:
    """`n` cars with `size` faults each, drawn by their priors, of those that a customer would bring: some motion
    stops."""
    rng = random.Random(seed)  # noqa: S311 - a simulation must be repeatable
    faults = faults_of(system)
    weights = [default_prior(system, fault) for fault in faults]
    cars: list[tuple[tuple[Fault, ...], int]] = []
    while len(cars) < n:
        drawn = tuple(sorted(set(rng.choices(faults, weights, k=size))))
        number = rng.randrange(2**32)
        if len(drawn) == size and SimulatedCar(system, drawn, number).complaint is not None:
            cars.append((drawn, number))
    return cars


def summary_of(searches: Sequence[Search]) -> Summary:
    """Of several faults in a car the best rank counts, for `all_in_three` the worst."""
    n = len(searches)
    ended = [s for s in searches if s.found]
    return Summary(
        cars=n,
        found=len(ended) / n,
        fault_first=sum(s.fault_ranks[0] == 1 for s in searches) / n,
        fault_in_three=sum(s.fault_ranks[0] <= 3 for s in searches) / n,
        all_in_three=sum(s.fault_ranks[-1] <= 3 for s in searches) / n,
        repair_first=sum(s.repair_ranks[0] == 1 for s in searches) / n,
        repair_in_three=sum(s.repair_ranks[0] <= 3 for s in searches) / n,
        repair_first_when_found=sum(s.repair_ranks[0] == 1 for s in ended) / max(len(ended), 1),
        minutes=median(s.minutes for s in searches),
        checks=median(s.checks for s in searches),
    )


def study(system: TopSystem, cars: Sequence[tuple[tuple[Fault, ...], int]], max_faults: int = 2) -> dict[str, Any]:
    """Both ways on the same cars: summaries, the ratio of the medians of minutes, and how suspects' chances came
    true."""
    compiled(system, max_faults)
    suggested = [follow_suggestions(SimulatedCar(system, *car), max_faults) for car in cars]
    fixed = [follow_fixed_order(SimulatedCar(system, *car), max_faults) for car in cars]
    ours, theirs = summary_of(suggested), summary_of(fixed)
    return {
        "suggested": ours,
        "fixed_order": theirs,
        "minutes_ratio": ours.minutes / theirs.minutes if theirs.minutes else float("nan"),
        "calibration": _calibration([pair for s in suggested for pair in s.calibration]),
    }


def _calibration(pairs: Sequence[tuple[float, bool]]) -> list[dict[str, Any]]:
    rows = []
    for low, high in ((0.5, 0.6), (0.6, 0.7), (0.7, 0.8), (0.8, 0.9), (0.9, 1.0)):
        inside = [true for share, true in pairs if low <= share < high or (high == 1.0 and share == 1.0)]
        rows.append({"from": low, "to": high, "suspects": len(inside), "true": sum(inside)})
    return rows
