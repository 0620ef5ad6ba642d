"""The whole scenario: customers, cars, and every job of theirs up to the eve of `today`. No database here.

The same truth, systems and `today` give the same scenario, to the last reading.
"""

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, tzinfo

from diagnostics.engine.system.model import TopSystem
from reports.demo import floor, jobs, people
from reports.demo.life import YEAR, Grown, Life, NoticedFaults, month_back
from reports.demo.records import CarRecord
from reports.demo.truth import Truth

CUSTOMERS = 120
FLOOR_DAYS = 12
"""Days before the load in which no car of the fleet comes by chance: the floor is filled on purpose (floor.py)."""
HALF_WAY_SERIAL, HALF_WAY_DAYS = 90, 200
"""The half-way car's serial number, and how many days before the load its earlier visits end."""


@dataclass(slots=True)
class Scenario:
    customers: list[dict[str, str]]
    cars: list[CarRecord] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Made:
    """A car as it left the works. `model`: maker, model, letters of its VIN. `owner`: index of the customer."""

    serial: int
    months_ago: int
    climate: str
    model: tuple[str, str, str]
    owner: int


def invent(truth: Truth, systems: Mapping[str, TopSystem], today: date, zone: tzinfo) -> Scenario:
    """Everything that the demo loads. `zone`: the shop's time zone, in which its working hours lie."""
    scenario = Scenario(people.invent_customers(random.Random(truth.seed), CUSTOMERS))  # noqa: S311
    noticed = {slug: NoticedFaults(system) for slug, system in systems.items()}
    grown = list(_fleet(truth, noticed, today, zone))
    # Whoever would come next is in the shop today: its next failure is brought forward by some weeks.
    floor.fill(sorted(grown, key=lambda one: (one.next_day, one.car.vin)), today, zone)
    # A car that has never been here is in nobody's books.
    scenario.cars = [one.car for one in grown if one.car.jobs]
    scenario.cars += [_half_way_car(truth, noticed, today, zone), floor.undeclared_car(today, zone)]
    return scenario


def _fleet(truth: Truth, noticed: Mapping[str, NoticedFaults], today: date, zone: tzinfo) -> Iterator[Grown]:
    serial = 100
    for slug, fleet in truth.cars.items():
        for _number in range(fleet.count):
            serial += 1
            rng = _dice(truth, serial)
            made = Made(
                serial=serial,
                months_ago=rng.randint(fleet.last_months_ago, fleet.first_months_ago),
                climate=rng.choices(list(truth.climates), weights=list(truth.climates.values()))[0],
                model=rng.choice(people.MODELS[slug]),
                owner=rng.randrange(CUSTOMERS),
            )
            yield _grown(truth, noticed[slug], made, rng, today, zone, FLOOR_DAYS)


def _half_way_car(truth: Truth, noticed: Mapping[str, NoticedFaults], today: date, zone: tzinfo) -> CarRecord:
    """The car that is half way through its diagnosis, with the years before."""
    story = truth.half_way
    made = Made(HALF_WAY_SERIAL, story.made_months_ago, story.climate, people.MODELS[story.system][0], owner=0)
    rng = _dice(truth, made.serial)
    grown = _grown(truth, noticed[story.system], made, rng, today, zone, HALF_WAY_DAYS)
    grown.car.jobs.append(floor.half_way_job(grown.car, truth, noticed[story.system].system, today, zone))
    return grown.car


def _dice(truth: Truth, serial: int) -> random.Random:
    """Each car has its own: one more visit of one car moves nothing in another's life."""
    return random.Random(f"{truth.seed}:{serial}")  # noqa: S311


def _grown(
    truth: Truth, noticed: NoticedFaults, made: Made, rng: random.Random, today: date, zone: tzinfo, until_days: int
) -> Grown:
    """A car and all its visits up to `until_days` before `today`."""
    car = _new_car(rng, made, month_back(today, made.months_ago), noticed.system.system)
    life = Life(truth=truth, system=noticed.system, car=car, months_ago=made.months_ago, rng=rng)
    began = today.toordinal() - truth.records_years * YEAR
    next_regular = max(began + rng.uniform(0, 540), car.made_on.toordinal() + rng.uniform(60, 900))
    last = began
    while True:
        # A fault that the last visit did not find brings the car back some weeks later.
        fault_day = max(life.next_noticed(noticed), last) + 1 + rng.expovariate(1.0 / truth.days_to_visit)
        day = min(next_regular, fault_day)
        if day > today.toordinal() - until_days:
            return Grown(car, life, noticed, rng, day)
        visit_day = jobs.workday(date.fromordinal(int(day)))
        jobs.past_job(life, visit_day, rng, zone, inspection=rng.random() < (0.08 if car.jobs else 0.2))
        last = visit_day.toordinal()
        next_regular = last + YEAR / 12 * rng.uniform(*truth.months_between_visits)


def _new_car(rng: random.Random, made: Made, made_on: date, system: str) -> CarRecord:
    maker, model, code = made.model
    return CarRecord(
        vin=people.invent_vin(rng, code, made_on, made.serial),
        plate=people.invent_plate(rng, made.serial),
        maker=maker,
        model=model,
        made_on=made_on,
        climate=made.climate,
        system=system,
        owner=made.owner,
    )
