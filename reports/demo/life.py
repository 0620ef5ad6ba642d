"""How an invented car grows old: when which fault comes, and when the car comes to the shop.

Every unit has a clock for each mode that its kind of position can fail in; the truth (`truth.py`) says how fast it
runs. A visit finds all faults that are there, a repair starts the clocks anew. Days are day numbers
(`date.toordinal`), ages are in years.
"""

import math
import random
from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date

from diagnostics.engine.faults import faults_of, repair_of
from diagnostics.engine.results import Fault
from diagnostics.engine.simulate import Bench
from diagnostics.engine.system.model import TopSystem
from reports.demo.records import CarRecord, FailureRecord
from reports.demo.truth import Hazard, Truth

YEAR = 365.25
Noticed = Callable[[Fault], bool]


@dataclass(slots=True)
class Clock:
    """When one mode of the unit at one position comes. `since`: the day on which this clock was started."""

    fault: Fault
    hazard: Hazard
    since: float
    original: bool
    due: float


class Life:
    """The clocks of one car. `months_ago`: its production month, counted back from the load."""

    def __init__(self, *, truth: Truth, system: TopSystem, car: CarRecord, months_ago: int, rng: random.Random) -> None:
        self.truth = truth
        self.system = system
        self.car = car
        self.months_ago = months_ago
        self.rng = rng
        made = float(car.made_on.toordinal())
        hazards = ((fault, self._hazard_of(fault)) for fault in faults_of(system) if not fault.input)
        self.clocks = [self._started(fault, one, made, original=True) for fault, one in hazards if one is not None]

    def present(self, day: float) -> dict[str, Clock]:
        """Position -> the clock whose fault stands there on that day: at one position the first fault hides the
        others."""
        found: dict[str, Clock] = {}
        for clock in self.clocks:
            position = clock.fault.position
            if clock.due <= day and (position not in found or clock.due < found[position].due):
                found[position] = clock
        return found

    def next_noticed(self, noticed: Noticed) -> float:
        """The day on which the next fault comes that stops the top; infinite where none does."""
        first: dict[str, Clock] = {}
        for clock in self.clocks:
            position = clock.fault.position
            if position not in first or clock.due < first[position].due:
                first[position] = clock
        return min((clock.due for clock in first.values() if noticed(clock.fault)), default=math.inf)

    def repair(self, faults: Collection[Fault], day: float) -> None:
        """Note these failures and start clocks anew: all of the position for a new unit, else the one that was
        repaired."""
        for clock in [one for one in self.present(day).values() if one.fault in faults]:
            fault = clock.fault
            age = (clock.due - clock.since) / YEAR
            happened_on = date.fromordinal(int(clock.due))
            self.car.failures.append(FailureRecord(fault.position, fault.mode, age, clock.original, happened_on))
            replaced = repair_of(self.system, fault).kind == "replace"
            for number, other in enumerate(self.clocks):
                if other is clock or (replaced and other.fault.position == fault.position):
                    original = other.original and not replaced
                    self.clocks[number] = self._started(other.fault, other.hazard, day, original=original)

    def hurry(self, noticed: Noticed, day: float) -> None:
        """Bring the next fault that stops the top forward to `day`: a car that would come soon comes now."""
        due = self.next_noticed(noticed)
        for clock in self.clocks:
            if clock.due == due:
                clock.due = min(due, day)

    def _hazard_of(self, fault: Fault) -> Hazard | None:
        kind = self.system.positions[fault.position].kind
        return self.truth.hazard_of(system=self.system.system, position=fault.position, kind=kind, mode=fault.mode)

    def _started(self, fault: Fault, hazard: Hazard, day: float, *, original: bool) -> Clock:
        ratio = self.truth.ratio(
            system=self.car.system,
            position=fault.position,
            kind=self.system.positions[fault.position].kind,
            mode=fault.mode,
            months_ago=self.months_ago,
            climate=self.car.climate,
            original=original,
        )
        years = hazard.scale_years * (self.rng.expovariate(1.0) / ratio) ** (1.0 / hazard.shape)
        return Clock(fault=fault, hazard=hazard, since=day, original=original, due=day + years * YEAR)


def month_back(today: date, months: int) -> date:
    """The first day of the month that many months before today's."""
    number = today.year * 12 + today.month - 1 - months
    return date(number // 12, number % 12 + 1, 1)


@dataclass(slots=True)
class Grown:
    """A car with its clocks, and the day on which it would come next."""

    car: CarRecord
    life: Life
    noticed: "NoticedFaults"
    rng: random.Random
    next_day: float


class NoticedFaults:
    """Which single faults of a system stop a motion, asked once a fault."""

    def __init__(self, system: TopSystem) -> None:
        self.system = system
        self.known: dict[Fault, bool] = {}

    def __call__(self, fault: Fault) -> bool:
        if fault not in self.known:
            bench = Bench(self.system, frozenset({fault}), random.Random(0))  # noqa: S311 - a story, no secret
            self.known[fault] = bench.complaint() is not None
        return self.known[fault]
