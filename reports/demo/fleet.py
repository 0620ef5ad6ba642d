"""The whole scenario: customers, cars, and every job of theirs up to the eve of `today`. No database here.

The same truth, systems and `today` give the same scenario, to the last reading.
"""

import math
import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, tzinfo

from diagnostics.engine.results import Fault
from diagnostics.engine.simulate import Bench
from diagnostics.engine.system.model import TopSystem
from reports.demo import floor, jobs, people
from reports.demo.life import Life, month_back
from reports.demo.records import CarRecord
from reports.demo.truth import Truth

CUSTOMERS = 120


@dataclass(slots=True)
class Scenario:
    customers: list[dict[str, str]]
    cars: list[CarRecord] = field(default_factory=list)


@dataclass(slots=True)
class Grown:
    """A car with its clocks, and the day on which it would come next."""

    car: CarRecord
    life: Life
    noticed: "NoticedFaults"
    rng: random.Random
    next_day: float


def invent(truth: Truth, systems: Mapping[str, TopSystem], today: date, zone: tzinfo) -> Scenario:
    """Everything that the demo loads. `zone`: the shop's time zone, in which its working hours lie."""
    rng = random.Random(truth.seed)  # noqa: S311 - a story, no secret
    scenario = Scenario(people.invent_customers(rng, CUSTOMERS))
    grown = list(_grown(truth, systems, today, zone, rng))
    # Whoever would come next is in the shop today: its next failure is brought forward by some weeks.
    waiting = sorted(grown, key=lambda one: (one.next_day, one.car.vin))
    floor.fill(waiting, today, zone)
    # A car that has never been here is in nobody's books.
    scenario.cars = [one.car for one in grown if one.car.jobs]
    scenario.cars += [floor.half_way_car(truth, systems, today, zone), floor.undeclared_car(today, zone)]
    return scenario


def _grown(
    truth: Truth, systems: Mapping[str, TopSystem], today: date, zone: tzinfo, rng: random.Random
) -> Iterator[Grown]:
    serial = 100
    for slug, fleet in truth.cars.items():
        noticed = NoticedFaults(systems[slug])
        for _number in range(fleet.count):
            serial += 1
            own = random.Random(f"{truth.seed}:{serial}")  # noqa: S311
            months_ago = own.randint(fleet.last_months_ago, fleet.first_months_ago)
            car = _new_car(own, truth, slug, month_back(today, months_ago), serial, rng.randrange(CUSTOMERS))
            life = Life(truth=truth, system=systems[slug], car=car, months_ago=months_ago, rng=own)
            yield _grow(car, life, own, noticed, today, zone)


def _new_car(rng: random.Random, truth: Truth, slug: str, made_on: date, serial: int, owner: int) -> CarRecord:
    maker, model, code = rng.choice(people.MODELS[slug])
    return CarRecord(
        vin=people.invent_vin(rng, code, made_on, serial),
        plate=people.invent_plate(rng, serial),
        maker=maker,
        model=model,
        made_on=made_on,
        climate=rng.choices(list(truth.climates), weights=list(truth.climates.values()))[0],
        system=slug,
        owner=owner,
    )


class NoticedFaults:
    """Which single faults stop a motion, asked once a fault."""

    def __init__(self, system: TopSystem) -> None:
        self.system = system
        self.known: dict[Fault, bool] = {}

    def __call__(self, fault: Fault) -> bool:
        if fault not in self.known:
            bench = Bench(self.system, frozenset({fault}), random.Random(0))  # noqa: S311
            self.known[fault] = bench.complaint() is not None
        return self.known[fault]


def _grow(car: CarRecord, life: Life, rng: random.Random, noticed: NoticedFaults, today: date, zone: tzinfo) -> Grown:
    """All visits up to some weeks before `today`, each at the end of what made the car come."""
    truth = life.truth
    began = today.toordinal() - truth.records_years * 365.25
    next_regular = max(began + rng.uniform(0, 540), car.made_on.toordinal() + rng.uniform(60, 900))
    first = True
    while True:
        fault_day = life.next_noticed(noticed) + 1 + rng.expovariate(1.0 / truth.days_to_visit)
        day = min(next_regular, max(fault_day, began) if first else fault_day)
        if not math.isfinite(day) or day > today.toordinal() - 12:
            return Grown(car, life, noticed, rng, day)
        visit_day = jobs.workday(date.fromordinal(int(day)))
        jobs.past_job(life, visit_day, rng, zone, inspection=rng.random() < (0.2 if first else 0.08))
        first = False
        low, high = truth.months_between_visits
        next_regular = visit_day.toordinal() + 30.44 * rng.uniform(low, high)
