"""A simulated bench: one top with known faults, and every check that a technician can make on it, with the noise of
real readings.

It is the counterpart of the inference, run forwards: the same table of what a fault shows (`observe.py`), the same
meaning of motion (`motion.py`). Observations come back in the words of a case file. Slips of people (a wrong pin
probed) are left out: they are no property of a top.
"""

import random
from collections.abc import Iterable, Mapping
from typing import Any

from diagnostics.engine.electrics import contact_ohm, pin_volts
from diagnostics.engine.hold import DROPPED, GUARD_BAR, usual_loss_bar
from diagnostics.engine.hydraulics import REFERENCE_C, slower_when_cold
from diagnostics.engine.motion import MADE, RELEASED, fault_free, pose_of, sensor_state
from diagnostics.engine.observe import (
    ANGLE_SHOWS,
    ANGLE_TOKENS,
    BETWEEN_SEEN,
    CLICK_HEARD,
    CONTACT_SHOWS,
    CONTACT_TOKENS,
    HOLD_SHOWS,
    HOLD_TOKENS,
    LEAVES_ITS_PLACE,
    LOOK_SEES,
    MOVES,
    PRECEDENCE,
    SLOW,
    WIGGLE_STEADY,
    Shares,
)
from diagnostics.engine.poses import Pose
from diagnostics.engine.results import Fault
from diagnostics.engine.signals import read_pin
from diagnostics.engine.system.model import BETWEEN, Pin, Position, Step, TopSystem
from diagnostics.engine.system.series import path_of, pin_of
from diagnostics.engine.wiring import cable_ohm

SHARES_SHOWN: Mapping[str, tuple[float, float]] = {
    "made": (0.002, 0.018),
    "weak": (0.13, 0.27),
    "between": (0.36, 0.62),
    "released": (0.982, 0.997),
}
"""Volts at a pulled-up pin as a share of the supply, by token of `observe.CONTACT_TOKENS`: millivolts over a sound
contact, nearly the supply over an open one."""
HALL_DROP = 0.035
"""Share of the supply that the output transistor of a Hall sensor keeps (some tenths of a volt): common practice, no
source."""


class Bench:
    """A top with `faults`, standing in `pose`, its module supplied with `supply` volts (a charger runs), its hydraulic
    fluid at `oil_c` (noted in the entries unless `notes_oil` is off).

    What a fault shows is drawn once, so that two readings of one pin agree; only what comes and goes is drawn at
    every reading.
    """

    def __init__(
        self, system: TopSystem, faults: Iterable[Fault], rng: random.Random, oil_c: float = REFERENCE_C
    ) -> None:
        self.system = system
        self.oil_c = oil_c
        self.notes_oil = True
        self.rng = rng
        self.pose = dict(next(iter(system.poses.values())))
        self.supply = round(system.supply_v / 12.0 * rng.uniform(12.5, 13.1), 2)
        self.faults: frozenset[Fault] = frozenset()
        self._ruling: dict[str, Fault] = {}
        self._shows: dict[str, dict[str, str]] = {}
        self.break_down(faults)

    def break_down(self, faults: Iterable[Fault]) -> None:
        """These faults are there from now on, and no others."""
        self.faults = frozenset(faults)
        self._ruling = self._find_ruling()
        self._shows = {code: self._drawn(code, fault) for code, fault in self._ruling.items()}
        self._holds: dict[str, str] = {}

    def mend(self, faults: Iterable[Fault]) -> None:
        """These faults are there no more; what the others show stays as it was."""
        ruling, shows, holds = self._ruling, self._shows, self._holds
        self.break_down(self.faults - frozenset(faults))
        self._shows |= {code: shows[code] for code, fault in self._ruling.items() if ruling.get(code) == fault}
        self._holds |= {code: held for code, held in holds.items() if self._at(code)}

    def stand(self, pose: Pose) -> None:
        """Bring the top into a pose, by hand where it does not go by itself."""
        self.pose = pose_of(self.system, pose, base=self.pose)

    # Checks, in the words of a case file

    def battery(self) -> dict[str, Any]:
        low = any(fault.mode == "low" for fault in self.faults)
        volts = self.rng.uniform(11.3, 11.95) if low else self.rng.uniform(12.5, 12.75)
        return {"check": "battery", "volts": round(volts * self.system.supply_v / 12.0, 2)}

    def read(self, code: str) -> dict[str, Any]:
        """The pin in the pose in which the top stands."""
        volts = self._volts(self._at_pin(code, self._states(code), by_hand=False))
        return {
            "check": "pin",
            "position": code,
            "pose": dict(self.pose),
            "volts": volts,
            "supply_volts": self.supply,
        }

    def by_hand(self, code: str) -> dict[str, Any]:
        """The pin while the switch is pressed and let go by hand, the other one on the pin held pressed; not for an
        angle sensor."""
        held = dict.fromkeys(path_of(self.system, code), MADE)
        pressed, released = (
            self._volts(self._at_pin(code, {**held, code: state}, by_hand=True)) for state in (MADE, RELEASED)
        )
        return {
            "check": "pin-by-hand",
            "position": code,
            "pressed_volts": pressed,
            "released_volts": released,
            "supply_volts": self.supply,
        }

    def click(self, code: str) -> dict[str, Any]:
        heard = min((CLICK_HEARD.get(fault.mode, 1.0) for fault in self._at(code)), default=1.0)
        return {"check": "click", "position": code, "heard": self.rng.random() < heard}

    def wiggle(self, code: str) -> dict[str, Any]:
        steady = min((WIGGLE_STEADY.get(fault.mode, 1.0) for fault in self._at(code)), default=1.0)
        return {"check": "wiggle", "position": code, "steady": self.rng.random() < steady}

    def continuity(self, code: str) -> dict[str, Any]:
        if any(fault.mode == "open" for fault in self._at(code)):
            return {"check": "continuity", "position": code, "ohms": None}
        pin = pin_of(self.system, code)
        ohms = 0.3 + 0.95 * cable_ohm(pin.area_mm2, pin.length_m) + self.rng.uniform(0.0, 0.4)
        return {"check": "continuity", "position": code, "ohms": round(ohms, 1)}

    def look(self, code: str) -> dict[str, Any]:
        kind = self.system.positions[code].kind
        seen = (
            fault.mode
            for fault in self._at(code)
            if self.rng.random() < LOOK_SEES.get((kind, fault.mode), LOOK_SEES.get(("*", fault.mode), 0.0))
        )
        return {"check": "look", "position": code, "found": next(seen, "nothing")}

    def pressure_hold(self, code: str) -> dict[str, Any]:
        """A cylinder or the pump held as the system file says, the gauge read to the bar."""
        assert self.system.hydraulics is not None  # noqa: S101 - such a check is offered with hydraulics only
        hold = self.system.hydraulics.hold
        start = round(hold.test_bar * self.rng.uniform(0.96, 1.0))
        usual = usual_loss_bar(hold, start, hold.seconds)
        low, high = {
            "holds": (0.1 * usual, 0.9 * usual),
            "sinks": (usual + 2.0 * GUARD_BAR, 0.9 * DROPPED * start),
            "drops": (1.1 * DROPPED * start, 0.98 * start),
        }[self._held(code)]
        seen = {"check": "pressure-hold", "position": code, "bar_start": start}
        end = round(start - self.rng.uniform(low, high))
        return {**seen, "bar_end": end, "seconds": hold.seconds, "oil_c": self._noted_c()}

    def _noted_c(self) -> float | None:
        return self.oil_c if self.notes_oil else None

    def _held(self, code: str) -> str:
        """What the hold shows, drawn once until something breaks or is mended."""
        kind = self.system.positions[code].kind
        shows = [HOLD_SHOWS[kind, one.mode] for one in self._at(code) if (kind, one.mode) in HOLD_SHOWS]
        if code not in self._holds:
            self._holds[code] = self._pick(HOLD_TOKENS, min(shows)) if shows else "holds"
        return self._holds[code]

    def try_motion(self, motion: str) -> dict[str, Any]:
        """The whole motion from its start. The top is left where it stops, and of a stop the trial says where the axes
        of the motion stand. What the pump drives is slower with cold fluid."""
        stops_at, lamp, seconds = self._run(motion)
        trial: dict[str, Any] = {"check": "motion", "motion": motion, "stops_at": stops_at}
        trial |= {"lamp": lamp, "seconds": seconds}
        if self.system.hydraulics is not None:
            trial["oil_c"] = self._noted_c()
        if stops_at is not None:
            moved = {axis for step in self.system.motions[motion].steps for axis in step.moves}  # type: ignore[index]
            trial["stands"] = {axis: place for axis, place in self.pose.items() if axis in moved}
        return trial

    def _run(self, motion: str) -> tuple[str | None, str, dict[str, float]]:
        """(step at which it stops, lamp, seconds of the steps that ended)"""
        command = self.system.motions[motion].command  # type: ignore[index]
        traces = fault_free(self.system, motion)
        self.pose = dict(traces[0].before)
        seconds: dict[str, float] = {}
        if not self._commanded(command):
            return traces[0].step.name, "off", seconds
        for trace, following in zip(traces, (*traces[1:], traces[-1]), strict=True):
            step = trace.step
            if not self._reported(step.starts_when, command):
                return step.name, step.lamp, seconds
            if self._reported(step.ends_when, command):
                # Over before anything has moved: the next step finds the axes in the wrong place and never ends.
                return following.step.name, following.step.lamp, seconds
            arrives, slower = self._drive(step)
            if not arrives:
                self.pose |= dict.fromkeys(step.moves, BETWEEN) if self._leaves(step) else {}
                return step.name, step.lamp, seconds
            self.pose = dict(trace.after)
            if not self._reported(step.ends_when, command):
                return step.name, step.lamp, seconds
            seconds[step.name] = round(self.rng.uniform(*step.seconds) * slower, 1)
        return None, "off", seconds

    def complaint(self) -> dict[str, Any] | None:
        """What a customer would tell: the motion that stops, closing tried first, as in a case file; None where both
        run."""
        for motion in ("close", "open"):
            trial = self.try_motion(motion)
            if trial["stops_at"] is not None:
                return {"motion": motion, "stops_at": trial["stops_at"], "lamp": trial["lamp"]}
        return None

    # How the top behaves

    def _at(self, code: str) -> list[Fault]:
        return sorted(fault for fault in self.faults if fault.position == code and not fault.input)

    def _find_ruling(self) -> dict[str, Fault]:
        """Position -> the fault that rules its pin."""
        found: dict[str, Fault] = {}
        for code in self.system.wired():
            ruling = sorted((f for f in self._at(code) if f.mode in PRECEDENCE), key=lambda f: PRECEDENCE.index(f.mode))
            if ruling:
                found[code] = ruling[0]
        return found

    def _drawn(self, code: str, fault: Fault) -> dict[str, str]:
        """True state -> token that the pin shows. A fault that showed nothing at all would be none: drawn again until
        it shows."""
        position, pin = self.system.positions[code], pin_of(self.system, code)
        if pin.bands is not None:
            shown = self._pick(ANGLE_TOKENS, ANGLE_SHOWS[fault.mode], without="right")
            return dict.fromkeys((*self.system.axes[position.watches or ""].places, BETWEEN), shown)
        if fault.mode == "shorted-to-ground":
            return dict.fromkeys((MADE, RELEASED), "made" if pin.made_reads == "low" else "released")
        shows = CONTACT_SHOWS[fault.mode]
        while True:
            made, released = (self._pick(CONTACT_TOKENS, one) for one in shows)
            if (made, released) != ("made", "released"):
                return {MADE: made, RELEASED: released}

    def _pick(self, tokens: tuple[str, ...], shares: Shares, without: str = "") -> str:
        weights = [0.0 if shown == without else share for shown, share in zip(tokens, shares, strict=True)]
        return self.rng.choices(tokens, weights=weights)[0]

    def _drive(self, step: Step) -> tuple[bool, float]:
        """Whether the step's axes arrive, and how much longer than usual they take."""
        hydraulics = self.system.hydraulics
        pumped = hydraulics is not None and hydraulics.pump.position in step.driven_by
        arrives, slower = True, slower_when_cold(hydraulics, self.oil_c) if hydraulics and pumped else 1.0
        for fault in sorted(self.faults):
            kind = self.system.positions[fault.position].kind
            if self._drives(fault, step):
                arrives &= self.rng.random() < MOVES.get((kind, fault.mode), 1.0)
                if self.rng.random() < SLOW.get((kind, fault.mode), 0.0):
                    slower *= self.rng.uniform(1.4, 1.9)
        return arrives, slower

    def _drives(self, fault: Fault, step: Step) -> bool:
        return fault.position in step.driven_by or self.system.positions[fault.position].kind in ("supply", "module")

    def _leaves(self, step: Step) -> bool:
        """Whether the axes of a step that does not get there have at least begun to move."""
        there = [(self.system.positions[f.position].kind, f.mode) for f in sorted(self.faults) if self._drives(f, step)]
        return all(self.rng.random() < LEAVES_ITS_PLACE.get(one, 1.0) for one in there)

    def _commanded(self, command: str) -> bool:
        """Whether the module sees the held command, and no other motion's beside it: with both it moves nothing."""
        others = {motion.command for motion in self.system.motions.values()} - {command}
        return self._reported({command: MADE, **dict.fromkeys(sorted(others), RELEASED)}, command)

    def _reported(self, wanted: Mapping[str, str], command: str) -> bool:
        return all(self._module_sees(code, command) == state for code, state in wanted.items())

    def _module_sees(self, code: str, command: str) -> str:
        position = self.system.positions[code]
        states = {code: MADE} if code == command else self._states(code)
        if position.pin is None or any(f.input == code for f in self.faults):
            return states[code] if position.pin is None else RELEASED
        sees = read_pin(self.system, position, self._at_pin(code, states, by_hand=code == command))
        if sees == BETWEEN and position.watches is None:
            return MADE if self.rng.random() < BETWEEN_SEEN else RELEASED
        return sees

    def _states(self, code: str) -> dict[str, str]:
        """What the mechanism of every sensor on the pin of `code` does in the pose."""
        positions = self.system.positions
        return {one: sensor_state(positions[one], self.pose) for one in path_of(self.system, code)}

    def _at_pin(self, code: str, states: Mapping[str, str], *, by_hand: bool) -> float:
        """Volts at the pin of `code` as a share of the supply: the resistances of contacts in series add."""
        first, *others = path_of(self.system, code)
        share = self._share(first, states[first], by_hand=by_hand)
        if not others or self._mode(first) == "shorted-to-ground":
            return share
        low = pin_of(self.system, first).made_reads == "low"
        shares = [share, *(self._share(one, states[one], by_hand=by_hand) for one in others)]
        ohms = sum(contact_ohm(one if low else 1.0 - one, 1.0, 1.0) for one in shares)
        return pin_volts(ohms, 1.0, 1.0) if low else 1.0 - pin_volts(ohms, 1.0, 1.0)

    def _mode(self, code: str) -> str:
        ruling = self._ruling.get(code)
        return ruling.mode if ruling else ""

    def _share(self, code: str, state: str, *, by_hand: bool) -> float:
        """The same for one sensor alone, while its mechanism is in `state`."""
        position, pin = self.system.positions[code], pin_of(self.system, code)
        fault = self._ruling.get(code)
        if pin.bands is not None:
            shown = self._shows[code][state] if fault else "right"
            if fault and fault.mode == "comes-and-goes" and self.rng.random() < 0.5:
                shown = "right"
            return self._angle_share(pin.bands, state, shown)
        shown = "made" if state == MADE else "released"
        # Pressed by hand, a switch is reached whatever its trigger does.
        if fault and not (by_hand and fault.mode == "out-of-adjustment"):
            shown = self._shows[code][state]
            if fault.mode == "comes-and-goes":
                shown = self._pick(CONTACT_TOKENS, CONTACT_SHOWS[fault.mode][0 if state == MADE else 1])
        return self._contact_share(position, pin, shown)

    def _contact_share(self, position: Position, pin: Pin, shown: str) -> float:
        drop = self.rng.uniform(*SHARES_SHOWN[shown])
        if position.kind == "hall-sensor" and shown == "made":
            drop += HALL_DROP
        return drop if pin.made_reads == "low" else 1.0 - drop

    def _angle_share(self, bands: Mapping[str, tuple[float, float]], place: str, shown: str) -> float:
        if shown in ("rail-low", "rail-high"):
            near = self.rng.uniform(0.0, 0.01)
            return near if shown == "rail-low" else 1.0 - near
        others = [band for name, band in bands.items() if name != place]
        if shown == "wrong" and others:
            low, high = others[0]
        elif shown == "between" or place not in bands:
            ordered = sorted(bands.values())
            low, high = ordered[0][1], ordered[1][0]
        else:
            low, high = bands[place]
        return self.rng.uniform(low + 0.25 * (high - low), high - 0.25 * (high - low))

    def _volts(self, share: float) -> float:
        """As a meter shows it: two decimals."""
        return round(share * self.supply, 2)
