"""A simulated bench: one top with known faults, and every check that a technician can make on it, with the noise of
real readings.

It is the counterpart of the inference, run forwards: the same table of what a fault shows (`observe.py`), the same
meaning of motion (`motion.py`). Observations come back in the words of a case file. Slips of people (a wrong pin
probed) are left out: they are no property of a top.
"""

import random
from collections.abc import Iterable, Mapping
from typing import Any

from diagnostics.engine.motion import MADE, RELEASED, fault_free, pose_of, sensor_state
from diagnostics.engine.observe import (
    ANGLE_SHOWS,
    ANGLE_TOKENS,
    BETWEEN_SEEN,
    CLICK_HEARD,
    CONTACT_SHOWS,
    CONTACT_TOKENS,
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
    """A top with `faults`, standing in `pose`, its module supplied with `supply` volts (a charger runs).

    What a fault shows is drawn once, so that two readings of one pin agree; only what comes and goes is drawn at
    every reading.
    """

    def __init__(self, system: TopSystem, faults: Iterable[Fault], rng: random.Random) -> None:
        self.system = system
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
        volts = self._volts(self._share(code, sensor_state(self.system.positions[code], self.pose), by_hand=False))
        return {
            "check": "pin",
            "position": code,
            "pose": dict(self.pose),
            "volts": volts,
            "supply_volts": self.supply,
        }

    def by_hand(self, code: str) -> dict[str, Any]:
        """The pin while the switch is pressed and let go by hand; not for an angle sensor."""
        pressed, released = (self._volts(self._share(code, state, by_hand=True)) for state in (MADE, RELEASED))
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
        pin = self._pin(code)
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

    def try_motion(self, motion: str) -> dict[str, Any]:
        """The whole motion from its start. The top is left where it stops: what was moving there is `between`, unless
        it arrived."""
        command = self.system.motions[motion].command  # type: ignore[index]
        traces = fault_free(self.system, motion)
        self.pose = dict(traces[0].before)
        seconds: dict[str, float] = {}
        if self._module_sees(command, command) != MADE:
            return _trial(motion, traces[0].step.name, "off", seconds)
        for trace, following in zip(traces, (*traces[1:], traces[-1]), strict=True):
            step = trace.step
            if not self._reported(step.starts_when, command):
                return _trial(motion, step.name, step.lamp, seconds)
            if self._reported(step.ends_when, command):
                # Over before anything has moved: the next step finds the axes in the wrong place and never ends.
                return _trial(motion, following.step.name, following.step.lamp, seconds)
            arrives, slower = self._drive(step)
            self.pose = dict(trace.after) if arrives else {**trace.before, **dict.fromkeys(step.moves, BETWEEN)}
            if not arrives or not self._reported(step.ends_when, command):
                return _trial(motion, step.name, step.lamp, seconds)
            seconds[step.name] = round(self.rng.uniform(*step.seconds) * slower, 1)
        return _trial(motion, None, "off", seconds)

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
        for code in self.system.sensors():
            ruling = sorted((f for f in self._at(code) if f.mode in PRECEDENCE), key=lambda f: PRECEDENCE.index(f.mode))
            if ruling:
                found[code] = ruling[0]
        return found

    def _drawn(self, code: str, fault: Fault) -> dict[str, str]:
        """True state -> token that the pin shows. A fault that showed nothing at all would be none: drawn again until
        it shows."""
        position, pin = self.system.positions[code], self._pin(code)
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
        arrives, slower = True, 1.0
        for fault in sorted(self.faults):
            kind = self.system.positions[fault.position].kind
            if fault.position in step.driven_by or kind in ("supply", "module"):
                arrives &= self.rng.random() < MOVES.get((kind, fault.mode), 1.0)
                if self.rng.random() < SLOW.get((kind, fault.mode), 0.0):
                    slower *= self.rng.uniform(1.4, 1.9)
        return arrives, slower

    def _reported(self, wanted: Mapping[str, str], command: str) -> bool:
        return all(self._module_sees(code, command) == state for code, state in wanted.items())

    def _module_sees(self, code: str, command: str) -> str:
        position = self.system.positions[code]
        state = MADE if code == command else sensor_state(position, self.pose)
        if position.pin is None or any(f.input == code for f in self.faults):
            return state if position.pin is None else RELEASED
        sees = read_pin(self.system, position, self._share(code, state, by_hand=code == command))
        if sees == BETWEEN and position.watches is None:
            return MADE if self.rng.random() < BETWEEN_SEEN else RELEASED
        return sees

    def _share(self, code: str, state: str, *, by_hand: bool) -> float:
        """Volts at the pin as a share of the supply while the sensor's mechanism is in `state`."""
        position, pin = self.system.positions[code], self._pin(code)
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

    def _pin(self, code: str) -> Pin:
        pin = self.system.positions[code].pin
        assert pin is not None  # noqa: S101 - sensors with a pin only
        return pin


def _trial(motion: str, stops_at: str | None, lamp: str, seconds: dict[str, float]) -> dict[str, Any]:
    return {"check": "motion", "motion": motion, "stops_at": stops_at, "lamp": lamp, "seconds": seconds}
