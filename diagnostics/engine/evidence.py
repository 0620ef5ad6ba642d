"""Entries as evidence: each that says something becomes a factor, a likelihood over the hypotheses."""

from collections.abc import Hashable, Iterator
from dataclasses import dataclass

import numpy as np

from diagnostics.engine import effects, observe, standing, trials
from diagnostics.engine.alike import Part, spread
from diagnostics.engine.case import (
    Case,
    Complaint,
    MotionTrial,
    Observation,
    position_of,
)
from diagnostics.engine.compiled import ALL, Compiled, Floats, Subset
from diagnostics.engine.effects import Modes
from diagnostics.engine.faults import modes_of
from diagnostics.engine.motion import by_hand_dues
from diagnostics.engine.results import Judgement
from diagnostics.engine.signals import REFUSED
from diagnostics.engine.system.series import at_pin, path_of
from diagnostics.engine.timing import NO_TIMES, References, slow_chance
from diagnostics.engine.tokens import outcome_of
from diagnostics.engine.told import told_parts

COMPLAINT, RECENT_WORK = -1, -2
"""What stands for an observation's index where the evidence is the complaint or recent work."""
AT_PIN = frozenset({"pin", "pin-by-hand"})
"""Checks that read the state at the pin: of two switches in series they speak of both."""


@dataclass(frozen=True, slots=True)
class SiteFactor:
    """Evidence at one site: `table` (local sets,) chance of what was observed. `speaks_of`: the positions whose state
    it tells: one, or both switches that are in series on a pin."""

    entry: int
    after_work: bool
    key: Hashable
    site: str
    table: Floats
    speaks_of: tuple[str, ...]

    def likelihood(self, compiled: Compiled, subset: Subset = ALL) -> Floats:
        return self.table[compiled.codes(self.site, subset)]


@dataclass(frozen=True, slots=True)
class MotionFactor:
    """A motion trial: `weights` over its outcomes, for timed steps the chance that each was slow, and where axes were
    seen to stand after it. `cold`: timed steps that the pump drives with fluid of a temperature that nobody noted."""

    entry: int
    after_work: bool
    key: Hashable
    motion: str
    weights: Floats
    slow: tuple[tuple[str, float], ...] = ()
    stops_at: str | None = None
    stands: tuple[tuple[str, str], ...] = ()
    cold: frozenset[str] = frozenset()

    def likelihood(self, compiled: Compiled, subset: Subset = ALL) -> Floats:
        return spread(self.parts(compiled), subset)

    def parts(self, compiled: Compiled) -> tuple[Part, ...]:
        key = ("trial", self.motion, self.stops_at, self.weights.tobytes(), self.stands)
        told = compiled.lately(key, lambda: self._told(compiled))
        where = Part(trials.classes(compiled, self.motion), key, told)
        if not self.slow:
            return (where,)
        pace = self._pace(compiled, 0.0)
        if self.cold:
            cold = self._pace(compiled, observe.SLOW_COLD)
            pace = (1.0 - observe.COLD_UNSEEN) * pace + observe.COLD_UNSEEN * cold
        return where, Part(trials.alike_in_time(compiled), ("pace", self.motion, self.slow, self.cold), pace)

    def _pace(self, compiled: Compiled, slow_cold: float) -> Floats:
        """(C,) of the times, where what the pump drives is slow with this chance besides."""
        steps = {step.name: step for step in compiled.system.motions[self.motion].steps}  # type: ignore[index]
        pace = np.ones(1)
        for name, slow in self.slow:
            in_time = trials.keeps_time(compiled, steps[name]) * (1.0 - slow_cold * (name in self.cold))
            pace = pace * (slow * (1.0 - in_time) + (1.0 - slow) * in_time)
        return pace

    def _told(self, compiled: Compiled) -> Floats:
        """(C,) of what was seen beside times."""
        if not self.stands:
            seen: Floats = self.weights @ trials.class_outcomes(compiled, self.motion)
            return seen
        places = trials.classes(compiled, self.motion).places
        return standing.likelihood(compiled, self.motion, self.stops_at, self.weights, dict(self.stands), places)


@dataclass(frozen=True, slots=True)
class ToldFactor:
    """The complaint as `told`."""

    told: Complaint
    entry: int = COMPLAINT
    after_work: bool = False
    key: Hashable = ("complaint",)

    def likelihood(self, compiled: Compiled, subset: Subset = ALL) -> Floats:
        return spread(self.parts(compiled), subset)

    def parts(self, compiled: Compiled) -> tuple[Part, ...]:
        return told_parts(compiled, self.told)


Factor = SiteFactor | MotionFactor | ToldFactor


def factors_of(
    compiled: Compiled, case: Case, judgements: tuple[Judgement, ...], step_times: References = NO_TIMES
) -> tuple[Factor, ...]:
    """Every entry of the case that is evidence, in order; the complaint first. `step_times`: what the shop's own cars
    take."""
    return tuple(_factors(compiled, case, judgements, step_times))


def _factors(
    compiled: Compiled, case: Case, judgements: tuple[Judgement, ...], step_times: References
) -> Iterator[Factor]:
    if case.complaint is not None:
        yield ToldFactor(case.complaint)
    known: dict[Hashable, Floats] = {}
    for entry, (observation, judgement) in enumerate(zip(case.observations, judgements, strict=True)):
        if judgement.verdict == REFUSED:
            continue
        if isinstance(observation, MotionTrial):
            yield _trial(compiled, entry, observation, step_times)
            continue
        factor = _site_factor(compiled, entry, observation, known)
        if factor is not None:
            yield factor


def _trial(compiled: Compiled, entry: int, observation: MotionTrial, step_times: References) -> MotionFactor:
    motion = compiled.system.motions[observation.motion]
    timed = [step for step in motion.steps if step.name in observation.seconds]
    chances = {step.name: slow_chance(compiled.system, observation, step, step_times) for step in timed}
    slow = tuple(sorted((name, round(chance, 3)) for name, chance in chances.items()))
    weights = trials.told_weights(motion, observation.stops_at, observation.lamp, layman=False)
    stops_at, stands = observation.stops_at, tuple(sorted((observation.stands or {}).items()))
    pump = compiled.system.hydraulics.pump.position if compiled.system.hydraulics is not None else ""
    pumped = (step.name for step in timed if pump in step.driven_by)
    cold = frozenset(pumped if observation.oil_c is None else ())
    key = ("motion", observation.motion, stops_at, observation.lamp, slow, stands, cold)
    return MotionFactor(entry, observation.after_work, key, observation.motion, weights, slow, stops_at, stands, cold)


def _site_factor(
    compiled: Compiled, entry: int, observation: Observation, known: dict[Hashable, Floats]
) -> SiteFactor | None:
    site = position_of(compiled.system, observation)
    what = outcome_of(compiled.system, observation)
    if what is None or site not in compiled.sites or not compiled.sites[site].faults:
        return None
    check, due, seen = what
    key = (check, site, due, seen)
    if key not in known:
        table = outcome_table(compiled, check, site, due)
        known[key] = np.sum([share * table[:, outcome] for outcome, share in seen], axis=0)
    speaks_of = path_of(compiled.system, site) if check in AT_PIN else (site,)
    return SiteFactor(entry, observation.after_work, key, compiled.sites[site].code, known[key], speaks_of)


def outcome_table(compiled: Compiled, check: str, site: str, due: str) -> Floats:
    """(local sets, outcomes) chance of each outcome of a check at a site. Rows sum to 1. Made once per system."""
    return compiled.kept((check, site, due), lambda: _outcome_table(compiled, check, site, due))


def _outcome_table(compiled: Compiled, check: str, site: str, due: str) -> Floats:
    system = compiled.system
    kind, at_the_pin = system.positions[site].kind, system.positions[at_pin(system, site)]
    known = modes_of(system, site)
    here = effects.of_first if at_pin(system, site) == site else effects.of_twin

    def shows(modes: Modes) -> observe.Shares:
        match check:
            case "pin":
                return effects.with_slip(effects.pin_shows(at_the_pin, modes, due), observe.PIN_SLIP)
            case "pin-by-hand":
                return effects.by_hand_shows(at_the_pin, modes, by_hand_dues(system, site))
            case "click":
                return _yes_no(effects.click_heard(here(modes)))
            case "wiggle":
                return _yes_no(effects.wiggle_steady(here(modes)))
            case "continuity":
                return effects.continuity_shows(here(modes))
            case "look":
                return effects.look_shows(kind, known, here(modes))
            case "pressure-hold":
                return effects.hold_shows(kind, modes)
            case "battery":
                return effects.battery_shows(modes)
        raise ValueError(check)

    return np.array([shows(modes) for modes in compiled.sites[site].sets])


def _yes_no(chance: float) -> observe.Shares:
    return chance, 1.0 - chance
