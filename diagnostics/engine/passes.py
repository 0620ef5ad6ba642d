"""What a check that passed lets through: for each mode, the chance that the check passes though the fault is there.

All chances are those of the observation table (`observe.py`), so a check means here what it means to the suspects. What
each kind of check can clear, and why:

| check that passed | clears | because |
|---|---|---|
| pin, made as it should be | what keeps a contact from making, wire, trigger | the module is told of this pose |
| pin, released as it should be | what keeps it made, a wire at ground | the same |
| pin by hand | contact and wire, not the trigger | a finger reaches further than the cam |
| wiggle, steady | what moves with the harness | a bad joint shows when it is moved |
| continuity | the wire, not the plug | it is measured to the plug, which is off or was off for it |
| click | a stuck mechanism, neither contact nor wire | a snap is mechanical |
| look | what can be seen | |
| motion, whole | what would have stopped it | the module was told all that it waits for, and all arrived |
| its step times, as usual | what makes a step slow | |
| pressure hold | leaks | the gauge would have sunk |
| battery | a low supply | volts at rest |

The pin of two switches in series clears both where both are due made; where it is due released, the one that opens it,
and only if that one alone does.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from diagnostics.engine import observe
from diagnostics.engine.drawing.strict import strict_arrives, strict_reports
from diagnostics.engine.faults import MODES, PER_INPUT, faults_of, mode_of
from diagnostics.engine.hydraulics import usual_up_to_s
from diagnostics.engine.motion import MADE, RELEASED, due_at, fault_free, pose_of
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import Step, TopSystem
from diagnostics.engine.system.series import AND, partner_of, path_of, pin_of

FLICKERS = "comes-and-goes"
PLAINLY = 0.25
"""A fault of a sensor that stops a motion at its plainest lets it through at most so often: a shifted trigger is
reached all the same in a quarter of the readings (`observe.CONTACT_SHOWS`), every other one less."""
_TRIGGERS = frozenset({"out-of-adjustment"})


@dataclass(frozen=True, slots=True)
class Pass:
    """`chance`: of passing though the fault is there. Two passes of the same `evidence` tell the same twice."""

    position: str
    mode: str
    evidence: str
    chance: float


class Passes:
    """The passes of one system, each worked out once."""

    def __init__(self, system: TopSystem) -> None:
        self.system = system
        self._at_pin: dict[tuple[str, str, bool], tuple[Pass, ...]] = {}
        self._motions: dict[str, tuple[Pass, ...]] = {}
        self._supplies = tuple(code for code, one in system.positions.items() if one.kind == "supply")
        self.inputs = frozenset(one.evidence for name in system.motions for one in self._whole(name) if _per_input(one))
        """Evidence that a module needs to have no dead input, as far as motions can tell."""

    def of(self, observation: Mapping[str, Any], verdict: str) -> tuple[Pass, ...]:
        """What one entry clears, as it was stored (engine/case.py); nothing where it did not pass."""
        check = observation["check"]
        if check == "motion":
            return self._motion(observation)
        code = observation.get("position", "")
        if check == "look":
            return self._look(code) if observation["found"] == "nothing" else ()
        if check == "click":
            return self._by_table(code, "click", observe.CLICK_HEARD) if observation["heard"] else ()
        return self.would_clear(observation) if verdict == "ok" else ()

    def would_clear(self, observation: Mapping[str, Any]) -> tuple[Pass, ...]:
        """What a check at a position clears if it passes; of one that did not, what it speaks of."""
        check, code = observation["check"], observation.get("position", "")
        if check == "pin":
            due = due_at(self.system, code, pose_of(self.system, observation["pose"]))
            return self._pin(code, due, by_hand=False)
        if check == "pin-by-hand":
            return self._by_hand(code)
        if check == "wiggle":
            return self._by_table(code, "wiggle", observe.WIGGLE_STEADY)
        if check == "continuity":
            return self._by_table(code, "continuity", {mode: shows[0] for mode, shows in observe.CONTINUITY_SHOWS})
        if check == "click":
            return self._by_table(code, "click", observe.CLICK_HEARD)
        if check == "pressure-hold":
            kind = self.system.positions[code].kind
            holds = {mode: shows[0] for (one, mode), shows in observe.HOLD_SHOWS.items() if one == kind}
            return self._by_table(code, "hold", holds)
        if check == "battery":
            return tuple(Pass(one, "low", "battery", observe.BATTERY_LOW[0]) for one in self._supplies)
        return ()

    # Checks at one position

    def _by_table(self, code: str, evidence: str, chances: Mapping[str, float]) -> tuple[Pass, ...]:
        names = (mode.name for mode in MODES[self.system.positions[code].kind])
        return tuple(Pass(code, name, evidence, chances[name]) for name in names if name in chances)

    def _look(self, code: str) -> tuple[Pass, ...]:
        kind = self.system.positions[code].kind
        sees = {
            mode.name: observe.LOOK_SEES.get((kind, mode.name), observe.LOOK_SEES.get(("*", mode.name), 0.0))
            for mode in MODES[kind]
        }
        return self._by_table(code, "look", {mode: 1.0 - chance for mode, chance in sees.items() if chance})

    def _pin(self, code: str, due: str, *, by_hand: bool) -> tuple[Pass, ...]:
        key = (code, due, by_hand)
        if key not in self._at_pin:
            self._at_pin[key] = tuple(self._read(code, due.split(AND), by_hand))
        return self._at_pin[key]

    def _by_hand(self, code: str) -> tuple[Pass, ...]:
        """Pressed, then let go; the other one on the pin held pressed by hand all the time."""
        path = path_of(self.system, code)
        pressed = AND.join(MADE for _one in path)
        let_go = AND.join(RELEASED if one == code else MADE for one in path)
        partner = partner_of(self.system, code)
        there = (code, partner)
        both = (*self._pin(path[0], pressed, by_hand=True), *self._pin(path[0], let_go, by_hand=True))
        return tuple(one for one in both if one.position in there)

    def _read(self, first: str, due: list[str], by_hand: bool) -> Iterator[Pass]:
        path = path_of(self.system, first)
        if self.system.positions[first].watches is not None:
            right = observe.ANGLE_TOKENS.index("right")
            for mode, shows in observe.ANGLE_SHOWS.items():
                yield Pass(first, mode, f"at {due[0]}", shows[right])
            return
        if all(state == MADE for state in due):
            for one in path:
                yield from self._contact(one, MADE, by_hand)
            return
        released = [one for one, state in zip(path, due, strict=True) if state == RELEASED]
        if len(released) == 1:
            yield from self._contact(released[0], RELEASED, by_hand)
        # A wire at ground before the first contact is seen whatever the contacts behind it do.
        if released != [first]:
            yield from (one for one in self._contact(first, RELEASED, by_hand) if one.mode == "shorted-to-ground")

    def _contact(self, code: str, state: str, by_hand: bool) -> Iterator[Pass]:
        """What a contact in `state` that is read so clears of itself."""
        column, token = (0, "made") if state == MADE else (1, "released")
        shown = observe.CONTACT_TOKENS.index(token)
        shorted = observe.SHORTED_LOW if pin_of(self.system, code).made_reads == "low" else observe.SHORTED_HIGH
        for mode in MODES[self.system.positions[code].kind]:
            if by_hand and mode.name in _TRIGGERS:
                continue
            if mode.name == "shorted-to-ground":
                yield Pass(code, mode.name, state, shorted[shown])
            else:
                yield Pass(code, mode.name, state, observe.CONTACT_SHOWS[mode.name][column][shown])

    # Motions

    def _motion(self, trial: Mapping[str, Any]) -> tuple[Pass, ...]:
        if trial["stops_at"] is not None:
            return ()
        return (*self._whole(trial["motion"]), *self._times(trial))

    def _whole(self, motion: str) -> tuple[Pass, ...]:
        if motion not in self._motions:
            self._motions[motion] = tuple(self._stopping(motion))
        return self._motions[motion]

    def _stopping(self, motion: str) -> Iterator[Pass]:
        """The faults that this motion cannot well run whole with, tried one by one on the mechanism itself."""
        drives = {code for step in self.system.motions[motion].steps for code in step.driven_by}  # type: ignore[index]
        for fault in faults_of(self.system):
            kind, mode = self.system.positions[fault.position].kind, fault.mode
            moves = observe.MOVES.get((kind, mode))
            if moves is not None:
                if fault.position in drives or kind in ("supply", "module"):
                    yield Pass(fault.position, mode, "motion", moves)
            elif mode == FLICKERS:
                # Needed made, it has to be there in that moment.
                if kind != "angle-sensor" and self._stops(motion, Fault(fault.position, "never-makes")):
                    made = observe.CONTACT_SHOWS[mode][0]
                    yield Pass(fault.position, mode, "motion", made[0] + made[1])
            elif self._stops(motion, fault):
                yield Pass(fault.position, mode, f"input {fault.input}" if fault.input else "motion", PLAINLY)

    def _stops(self, motion: str, fault: Fault) -> bool:
        """Whether the motion stops with this fault alone, at its plainest (`drawing/strict.py`)."""
        mode_of(self.system, fault)
        command = self.system.motions[motion].command  # type: ignore[index]
        traces = fault_free(self.system, motion)

        def told(pose: Mapping[str, str], wanted: Mapping[str, str]) -> bool:
            reports = strict_reports(self.system, pose, [fault], command)
            return all(reports[code] == state for code, state in wanted.items())

        if not told(traces[0].before, {command: MADE}):
            return True
        for trace in traces:
            step = trace.step
            if not told(trace.before, step.starts_when) or told(trace.before, step.ends_when):
                return True
            if strict_arrives(self.system, step, [fault]) or not told(trace.after, step.ends_when):
                return True
        return False

    def _times(self, trial: Mapping[str, Any]) -> Iterator[Pass]:
        """What would have made a step slow, of what drives the steps that were timed and kept their usual time."""
        steps = {step.name: step for step in self.system.motions[trial["motion"]].steps}
        slow: set[str] = set()
        timed: set[str] = set()
        for name, seconds in trial["seconds"].items():
            drives = {*steps[name].driven_by, *self._supplies}
            timed |= drives
            if seconds > self._usual(steps[name], trial.get("oil_c")):
                slow |= drives
        for code in sorted(timed - slow):
            kind = self.system.positions[code].kind
            for mode in MODES[kind]:
                if (kind, mode.name) in observe.SLOW:
                    yield Pass(code, mode.name, "times", 1.0 - observe.SLOW[kind, mode.name])

    def _usual(self, step: Step, oil_c: float | None) -> float:
        return usual_up_to_s(self.system, step, oil_c)


def _per_input(one: Pass) -> bool:
    return one.mode == PER_INPUT
