"""A motion frame by frame: the start, and every step under way and ended, to its end or to where faults stop it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from diagnostics.engine.drawing.marks import Place, state_words
from diagnostics.engine.drawing.strict import strict_arrives, strict_reports
from diagnostics.engine.drawing.top import Moving, TopPicture, top_picture, view_of
from diagnostics.engine.motion import fault_free, reports
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import BETWEEN, Step, TopSystem
from diagnostics.engine.words import _


@dataclass(frozen=True, slots=True)
class SensorNow:
    """A sensor in a frame: what is due at its pin and what the module is told."""

    code: str
    name: str
    due: str
    told: str

    @property
    def differs(self) -> bool:
        return self.due != self.told

    @property
    def due_words(self) -> str:
        return state_words(self.due)

    @property
    def told_words(self) -> str:
        return state_words(self.told)


@dataclass(frozen=True, slots=True)
class Frame:
    """`step` its name, '' at the start; `number` from 1, 0 at the start. `picture` None where the system has no
    drawing. `lamp`: flashing | steady | off, lit only where the motion `stalled`; `words` what happens, or why it
    stops. `driven`: the module drives the step."""

    number: int
    step: str
    title: str
    picture: TopPicture | None
    sensors: tuple[SensorNow, ...]
    lamp: str
    stalled: bool
    words: str
    driven: bool = False


def player_frames(system: TopSystem, motion: str, faults: Iterable[Fault] = ()) -> tuple[Frame, ...]:
    """The frames of `motion` under `faults`, each fault at its plainest (`strict.py`). Raises CaseError for an unknown
    motion, KeyError for a fault at an unknown position."""
    known = tuple(faults)
    for fault in known:
        system.positions[fault.position]
    return tuple(_Player(system, motion, known).frames())


class _Player:
    def __init__(self, system: TopSystem, motion: str, faults: tuple[Fault, ...]) -> None:
        self.system, self.faults = system, faults
        self.traces = fault_free(system, motion)
        self.command = system.motions[motion].command  # type: ignore[index]
        self.pose: dict[str, str] = dict(self.traces[0].before)
        self.view: tuple[Place, ...] = view_of(system)

    def frames(self) -> Iterable[Frame]:
        yield self._frame(0, None, _("The control switch is held."))
        for index, trace in enumerate(self.traces):
            step, number = trace.step, index + 1
            why = self._does_not_start(step)
            if why:
                yield self._frame(number, step, why, stalled=True)
                return
            if self._is_told(step.ends_when):
                after = self.traces[min(index + 1, len(self.traces) - 1)].step
                words = _("“{step}” is over before anything has moved: its end is reported already. ")
                words = words.format(step=step.title) + _("The next step finds the top in the wrong place.")
                yield self._frame(min(number + 1, len(self.traces)), after, words, stalled=True)
                return
            start = self.pose
            self.pose = {**start, **dict.fromkeys(step.moves, BETWEEN)}
            held_up_by = strict_arrives(self.system, step, self.faults)
            words = _("Does not arrive: {name}.").format(name=self._name(held_up_by)) if held_up_by else _("Under way.")
            yield self._frame(number, step, words, moving=step.moves, stalled=bool(held_up_by), driven=True)
            if held_up_by:
                return
            self.pose = dict(trace.after)
            why = self._missing(step.ends_when)
            words = _("Does not end: {missing}.").format(missing=why) if why else _("Ended.")
            yield self._frame(number, step, words, stalled=bool(why), driven=bool(why))
            if why:
                return

    def _does_not_start(self, step: Step) -> str:
        if self._told()[self.command] != "made":
            return _("The module does not see the control switch {code}.").format(code=self.command)
        missing = self._missing(step.starts_when)
        return _("Does not start: {missing}.").format(missing=missing) if missing else ""

    def _missing(self, wanted: Mapping[str, str]) -> str:
        told = self._told()
        words = _("{code} is reported {found}, {wanted} is awaited")
        return ", ".join(
            words.format(code=code, found=state_words(told[code]), wanted=state_words(state))
            for code, state in wanted.items()
            if told[code] != state
        )

    def _is_told(self, wanted: Mapping[str, str]) -> bool:
        return not self._missing(wanted)

    def _told(self) -> dict[str, str]:
        return strict_reports(self.system, self.pose, self.faults, self.command)

    def _name(self, code: str) -> str:
        return f"{code} {self.system.positions[code].name}"

    def _frame(
        self,
        number: int,
        step: Step | None,
        words: str,
        *,
        moving: Moving | None = None,
        stalled: bool = False,
        driven: bool = False,
    ) -> Frame:
        due, told = reports(self.system, self.pose, self.command), self._told()
        sensors = tuple(
            SensorNow(code, position.name, due[code], told[code]) for code, position in self.system.sensors().items()
        )
        picture = top_picture(self.system, self.pose, moving=moving, reported=told, view=self.view)
        lamp = step.lamp if stalled and step is not None else "off"
        title = step.title if step is not None else _("Start")
        return Frame(number, step.name if step else "", title, picture, sensors, lamp, stalled, words, driven)
