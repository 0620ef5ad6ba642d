"""What the learned failure model says: the one place where the bench, the car file, parts and reports ask.

**What the bench starts from.** A trade default is the chance that a fault is there in a car that comes in for its top;
the learned chance is that the fault has come since this car was last seen good, at the age, production month and
climate that it has. Both answer 'is it there today', before anything was checked today; without data the model is the
default at the age that such a shop mostly sees (learning/priors.py), so one passes into the other as checks come in.
"""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import lru_cache

from django.core.cache import cache

from diagnostics.engine.case import Case
from diagnostics.engine.faults import PER_INPUT, default_prior, faults_of
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import TopSystem
from diagnostics.learning.predict import CarFacts, Fitted, Outlook, Parameters, chance_of, outlook, parameters
from diagnostics.learning.records import CLIMATES, YEAR_DAYS, PartModel, Population, Range, age_of, month_of
from diagnostics.learning.stored import from_json
from diagnostics.models import FailureModel, Learning
from diagnostics.selectors.learning import newest_learning
from diagnostics.selectors.sightings import Fitted as FittedUnits
from diagnostics.selectors.sightings import fitted_in
from shop.models import Car

LEAST, MOST = 2e-4, 0.035
"""Chances that the bench starts from: never so small that a few readings could not turn them, and below what holds a
job up (suspects.OPEN_SUSPECT): what is known of other cars alone holds up none."""
SHARE_OF_DEFAULT = 0.5
"""Nor less than this share of the trade default: that is a chance in cars that come in because something fails, the
learned one is of all that were seen, so that what was seen good lately would else be hardly thought of."""
DRAWS = 100
_KEPT = 600
"""Seconds: what is booked on another job of the car is seen after that."""
Key = tuple[str, str]
"""(position, mode)"""


@dataclass(frozen=True, slots=True)
class Learned:
    """The models of one top system as the newest learning left them."""

    learning: Learning
    models: tuple[PartModel, ...]
    _drawn: dict[tuple[Population, bool], Parameters]

    def drawn(self, model: PartModel) -> Parameters:
        """The draws of a model, made once in this process."""
        key = model.population, bool(model.ranges)
        if key not in self._drawn:
            self._drawn[key] = parameters(model, DRAWS)
        return self._drawn[key]

    def model_of(self, position: str, mode: str, unit: "Fits") -> PartModel | None:
        """The model of the unit that is fitted there; where its own part has none, the one of the original part."""
        here = [one for one in self.models if one.population.mode == mode and position in one.population.positions]
        model = max(here, key=lambda one: _likeness(one.population, unit), default=None)
        if model is None or unit.original:
            return model
        # A unit that was fitted later was not made with the car: the car's production range says nothing of it.
        return replace(model, ranges=())


@dataclass(frozen=True, slots=True)
class Fits:
    """What is fitted at a position in one mode: since when its age counts (None: since the car was made), the last day
    it was seen good (None: never)."""

    part: str = ""
    revision: str = ""
    since: date | None = None
    good: date | None = None

    @property
    def original(self) -> bool:
        return self.since is None


def _likeness(population: Population, unit: Fits) -> tuple[bool, ...]:
    """How well a population stands for a unit: its own part and revision, its own part, the original units."""
    of_age = population.original == unit.original
    part = not unit.part or population.part == unit.part
    return (of_age and part, of_age and part and population.revision == unit.revision, population.original)


@dataclass(frozen=True, slots=True)
class _Made:
    """When and for which climate a car was made, and from when on its failures were written down."""

    made_on: date
    year_only: bool
    climate: str
    known_from: date | None = None

    @property
    def facts(self) -> CarFacts:
        return CarFacts(month_of(self.made_on), self.year_only, CLIMATES.index(self.climate))

    def age(self, unit: Fits, on: date) -> float:
        """Years; of an original unit from the middle of the production month or year, as the learning counts."""
        if unit.since is not None:
            return max((on - unit.since).days / YEAR_DAYS, 0.0)
        return max(age_of(self.made_on, on, year_only=self.year_only), 1 / YEAR_DAYS)


Asked = Callable[[str, str], Fits]
"""(position, mode) -> what is fitted there."""


@dataclass(frozen=True, slots=True)
class LearnedPriors:
    """What a car's sheet starts from. `chances` {} and `learning` None: trade defaults, nothing is learned yet.
    `ranges`: production ranges that the car lies in, by position and mode."""

    chances: Mapping[Fault, float] = field(default_factory=dict)
    learning: Learning | None = None
    cars: int = 0
    ranges: Mapping[Key, Range] = field(default_factory=dict)

    def digest(self) -> str:
        """Names these chances in the key of what is worked out from them."""
        told = sorted((one.position, one.mode, one.input, round(chance, 9)) for one, chance in self.chances.items())
        return hashlib.sha256(repr(told).encode()).hexdigest()[:24]


@dataclass(frozen=True, slots=True)
class CarOutlook:
    """What may fail next in a car (learning.predict.Outlook), from which learning; `ranges` as in LearnedPriors."""

    outlook: Outlook
    learning: Learning
    cars: int
    ranges: Mapping[Key, Range]


def models_now(system: str) -> Learned | None:
    """What was learned of a top system; None while nothing was. One query where this process knows the newest
    learning, else two."""
    newest = newest_learning()
    return _learned(system, newest) if newest is not None else None


def _learned(system: str, newest: Learning) -> Learned | None:
    models, drawn = _models(system, newest.fingerprint, newest.learned_at.isoformat())
    return Learned(newest, models, drawn) if models else None


def priors_of_car(
    system: TopSystem,
    car: Car,
    on: date,
    *,
    job: int | None = None,
    newest: Callable[[], Learning | None] = newest_learning,
) -> LearnedPriors:
    """The chance that each fault of the top is there on that day, before anything of `job` (its key) was checked: what
    its sheets show is evidence and not counted twice. Faults without a model keep their trade defaults. `newest`: who
    has read the newest learning already gives it."""
    learning = newest()
    if learning is None:
        return LearnedPriors()
    about = f"{system.system}:{system.revision}:{_car_key(car)}:{job or 0}:{on}"
    key = f"priors:{learning.learned_at.isoformat()}:{learning.fingerprint}:{about}"
    found: LearnedPriors | None = cache.get(key)
    if found is None:
        learned = _learned(system.system, learning)
        fits = _asked(fitted_in(car, without_job=job))
        found = _priors(system, learned, _made(car), fits, on) if learned else LearnedPriors()
        cache.set(key, found, _KEPT)
    return found


def priors_of_case(system: TopSystem, case: Case) -> LearnedPriors:
    """The same for a case from a file: a car of which nothing but its month and climate is known."""
    learned = models_now(system.system)
    if learned is None:
        return LearnedPriors()
    made = _Made(date.fromisoformat(f"{case.car.made_on}-01"), False, case.car.climate)
    return _priors(system, learned, made, lambda _position, _mode: Fits(), date.fromisoformat(case.seen_on))


def outlook_of_car(system: TopSystem, car: Car, on: date, months: tuple[int, ...] = (12, 24)) -> CarOutlook | None:
    """What will fail within so many months from `on`, taken that all is good on that day; None while nothing is
    learned of this top system."""
    learned = models_now(system.system)
    if learned is None:
        return None
    made = _made(car)
    units = _fitted(system, learned, made, _asked(fitted_in(car)), on)
    # The inputs of the module are one mode of it.
    fitted = list({(one.position, one.model.population): one for _fault, one in units}.values())
    cars = max((one.tally.cars for one in learned.models), default=0)
    told = outlook(fitted, made.facts, months)
    return CarOutlook(told, learned.learning, cars, dict(_ranges(made, fitted)))


def _priors(system: TopSystem, learned: Learned, made: _Made, fits: Asked, on: date) -> LearnedPriors:
    inputs = max(1, sum(fault.mode == PER_INPUT for fault in faults_of(system)))
    chances: dict[Fault, float] = {}
    fitted = list(_fitted(system, learned, made, fits, on))
    for fault, one in fitted:
        drawn = learned.drawn(one.model)
        chance = float(chance_of(drawn, fault.position, made.facts, min(one.good, one.age), one.age).mean())
        if fault.mode == PER_INPUT:
            chance /= inputs
        least = max(LEAST, SHARE_OF_DEFAULT * default_prior(system, fault))
        chances[fault] = min(max(chance, least), MOST)
    cars = max(one.tally.cars for one in learned.models)
    return LearnedPriors(chances, learned.learning, cars, dict(_ranges(made, [one for _fault, one in fitted])))


def _fitted(system: TopSystem, learned: Learned, made: _Made, fits: Asked, on: date) -> Iterator[tuple[Fault, Fitted]]:
    """Every fault that there is a model of, with the unit there as that model knows it."""
    for fault in faults_of(system):
        unit = fits(fault.position, fault.mode)
        model = learned.model_of(fault.position, fault.mode, unit)
        if model is not None:
            seen = max((day for day in (unit.good, made.known_from) if day), default=None)
            good = made.age(unit, seen) if seen else 0.0
            yield fault, Fitted(model, fault.position, made.age(unit, on), good)


def _ranges(made: _Made, fitted: Iterable[Fitted]) -> Iterator[tuple[Key, Range]]:
    month = month_of(made.made_on)
    for one in fitted:
        for found in one.model.used if one.model.population.original else ():
            if not made.year_only and found.first <= month <= found.last:
                yield (one.position, one.model.population.mode), found


def _made(car: Car) -> _Made:
    return _Made(car.made_on, car.year_only, car.climate, car.known_from)


def _asked(fitted: FittedUnits) -> Asked:
    def fits(position: str, mode: str) -> Fits:
        unit, clock = fitted.units.get(position), fitted.clock(position, mode)
        part, revision = (unit.part, unit.revision) if unit else ("", "")
        return Fits(part, revision, clock.since, clock.good)

    return fits


def _car_key(car: Car) -> str:
    return f"{car.pk}:{car.made_on}:{car.year_only}:{car.climate}:{car.known_from}"


@lru_cache(maxsize=8)
def _models(system: str, *_learning: str) -> tuple[tuple[PartModel, ...], dict[tuple[Population, bool], Parameters]]:
    """Parsed once for each state of what was learned, which the names of the learning stand for."""
    rows = FailureModel.objects.filter(system=system).values_list("document", flat=True)
    models = [from_json(document) for document in rows.iterator(50)]
    return tuple(sorted(models, key=lambda one: (one.population, not one.population.original))), {}
