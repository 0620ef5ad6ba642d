"""Entries as evidence: each that says something becomes a factor, a likelihood over the hypotheses."""

from collections.abc import Hashable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from diagnostics.engine import effects, observe, signals, trials
from diagnostics.engine.case import (
    Battery,
    Case,
    Click,
    Continuity,
    Look,
    MotionTrial,
    Observation,
    PinByHand,
    PinReading,
    Wiggle,
    position_of,
)
from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.effects import Modes
from diagnostics.engine.electrics import BATTERY_FIT_V, CHARGE_FIRST_V, CHARGER_RUNNING_V
from diagnostics.engine.faults import modes_of
from diagnostics.engine.motion import MADE, RELEASED, by_hand_dues, due_at, pose_of
from diagnostics.engine.results import Judgement
from diagnostics.engine.signals import REFUSED
from diagnostics.engine.system.series import at_pin, path_of, pin_of
from diagnostics.engine.told import told_likelihood

COMPLAINT, RECENT_WORK = -1, -2
"""What stands for an observation's index where the evidence is the complaint or recent work."""
AT_PIN = frozenset({"pin", "pin-by-hand"})
"""Checks that read the state at the pin: of two switches in series they speak of both."""
Subset = NDArray[np.integer] | slice
ALL = slice(None)


@dataclass(frozen=True, slots=True)
class SiteFactor:
    """Evidence at one site: `table` (local sets,) chance of what was observed. `speaks_of`: the positions whose state it
    tells: one, or both switches that are in series on a pin."""

    entry: int
    after_work: bool
    key: Hashable
    site: str
    table: Floats
    speaks_of: tuple[str, ...]

    def likelihood(self, compiled: Compiled, subset: Subset = ALL) -> Floats:
        return self.table[compiled.codes(self.site)[subset]]


@dataclass(frozen=True, slots=True)
class MotionFactor:
    """A motion trial: `weights` over its outcomes, and for timed steps whether each was slow."""

    entry: int
    after_work: bool
    key: Hashable
    motion: str
    weights: Floats
    slow: tuple[tuple[str, bool], ...] = ()

    def likelihood(self, compiled: Compiled, subset: Subset = ALL) -> Floats:
        result: Floats = self.weights @ trials.outcomes(compiled, self.motion)[:, subset]
        steps = {step.name: step for step in compiled.system.motions[self.motion].steps}  # type: ignore[index]
        for name, slow in self.slow:
            in_time = trials.keeps_time(compiled, self.motion, steps[name])[subset]
            result = result * (1.0 - in_time if slow else in_time)
        return result


@dataclass(frozen=True, slots=True)
class ToldFactor:
    """The complaint: `chances` (H,) of all that was told."""

    chances: Floats
    entry: int = COMPLAINT
    after_work: bool = False
    key: Hashable = ("complaint",)

    def likelihood(self, compiled: Compiled, subset: Subset = ALL) -> Floats:
        return self.chances[subset]


Factor = SiteFactor | MotionFactor | ToldFactor


def factors_of(compiled: Compiled, case: Case, judgements: tuple[Judgement, ...]) -> tuple[Factor, ...]:
    """Every entry of the case that is evidence, in order; the complaint first."""
    return tuple(_factors(compiled, case, judgements))


def _factors(compiled: Compiled, case: Case, judgements: tuple[Judgement, ...]) -> Iterator[Factor]:
    if case.complaint is not None:
        yield ToldFactor(told_likelihood(compiled, case.complaint))
    known: dict[Hashable, Floats] = {}
    for entry, (observation, judgement) in enumerate(zip(case.observations, judgements, strict=True)):
        if judgement.verdict == REFUSED:
            continue
        if isinstance(observation, MotionTrial):
            yield _trial(compiled, entry, observation)
            continue
        factor = _site_factor(compiled, entry, observation, known)
        if factor is not None:
            yield factor


def _trial(compiled: Compiled, entry: int, observation: MotionTrial) -> MotionFactor:
    motion = compiled.system.motions[observation.motion]
    usual = {step.name: step.seconds[1] for step in motion.steps}
    slow = tuple(sorted((name, seconds > usual[name]) for name, seconds in observation.seconds.items()))
    weights = trials.told_weights(motion, observation.stops_at, observation.lamp, layman=False)
    key = ("motion", observation.motion, observation.stops_at, observation.lamp, slow)
    return MotionFactor(entry, observation.after_work, key, observation.motion, weights, slow)


def _site_factor(
    compiled: Compiled, entry: int, observation: Observation, known: dict[Hashable, Floats]
) -> SiteFactor | None:
    site = position_of(compiled.system, observation)
    what = outcome_of(compiled, observation)
    if what is None or site not in compiled.sites or not compiled.sites[site].faults:
        return None
    check, due, outcome = what
    key = (check, site, due, outcome)
    if key not in known:
        known[key] = outcome_table(compiled, check, site, due)[:, outcome]
    speaks_of = path_of(compiled.system, site) if check in AT_PIN else (site,)
    return SiteFactor(entry, observation.after_work, key, compiled.sites[site].code, known[key], speaks_of)


def outcome_of(compiled: Compiled, observation: Observation) -> tuple[str, str, int] | None:
    """(check, what was due, index of the outcome) of an entry at a position; None where it says nothing."""
    system = compiled.system
    match observation:
        case PinReading(position=code, volts=volts, supply_volts=float(supply)):
            due = due_at(system, code, pose_of(system, observation.pose))
            token = signals.pin_token(system, system.positions[code], volts, supply, due)
            return "pin", due, pin_tokens(compiled, code).index(token)
        case PinByHand(position=code, supply_volts=float(supply)):
            place, tokens = system.positions[at_pin(system, code)], observe.CONTACT_TOKENS
            pressed = signals.pin_token(system, place, observation.pressed_volts, supply, MADE)
            released = signals.pin_token(system, place, observation.released_volts, supply, RELEASED)
            return "pin-by-hand", "", tokens.index(pressed) * len(tokens) + tokens.index(released)
        case Click(heard=heard):
            return "click", "", int(not heard)
        case Wiggle(steady=steady):
            return "wiggle", "", int(not steady)
        case Continuity(position=code, ohms=ohms):
            return "continuity", "", _continuity_token(compiled, code, ohms)
        case Look(position=code, found=found):
            names = ("nothing", *modes_of(system, code))
            return ("look", "", names.index(found)) if found in names else None
        case Battery(volts=volts):
            return _battery_token(volts / (system.supply_v / 12.0))
    return None


def pin_tokens(compiled: Compiled, code: str) -> tuple[str, ...]:
    return observe.CONTACT_TOKENS if compiled.system.positions[code].watches is None else observe.ANGLE_TOKENS


OPEN_OHM = 10_000.0
"""From here on a wire counts as open: leakage over damp plastic reads as some tens of kilo-ohms (common practice, no
source)."""


def _continuity_token(compiled: Compiled, code: str, ohms: float | None) -> int:
    pin = pin_of(compiled.system, code)
    if ohms is None or ohms > OPEN_OHM:
        return 2
    return int(ohms > signals.wire_limit_ohm(pin))


def _battery_token(volts: float) -> tuple[str, str, int] | None:
    if volts > CHARGER_RUNNING_V:
        return None
    return "battery", "", 0 if volts >= BATTERY_FIT_V else 1 if volts >= CHARGE_FIRST_V else 2


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
            case "battery":
                return effects.battery_shows(modes)
        raise ValueError(check)

    return np.array([shows(modes) for modes in compiled.sites[site].sets])


def _yes_no(chance: float) -> observe.Shares:
    return chance, 1.0 - chance
