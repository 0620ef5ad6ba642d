"""Where the lanes, columns and rows of a displacement-step diagram stand, and where on it a reading belongs."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from diagnostics.engine.drawing.marks import state_words
from diagnostics.engine.motion import StepTrace, fault_free, pin_state, reports
from diagnostics.engine.system.model import BETWEEN, TopSystem
from diagnostics.engine.words import _

SIDE, REST, MOVE = 150.0, 20.0, 70.0
STEP = REST + MOVE
LEFT = 6.0
HEAD, LEVEL, LANE_PAD, ROW = 82.0, 20.0, 22.0, 21.0


@dataclass(frozen=True, slots=True)
class PinRead:
    """What was read at a sensor's pin in a pose (axis -> place): made | released | between | a place."""

    code: str
    pose: Mapping[str, str]
    state: str


@dataclass(frozen=True, slots=True)
class Seen:
    """What a sheet knows of a motion. `stalls`: (step, who says so); `seconds`: step -> seconds of the last trial."""

    stalls: tuple[tuple[str, str], ...] = ()
    seconds: Mapping[str, float] = field(default_factory=dict)
    reads: tuple[PinRead, ...] = ()


@dataclass(frozen=True, slots=True)
class Found:
    """A reading on the diagram: at x, told with the step of index `step`; whether it agrees with what is due, and in
    words."""

    code: str
    x: float
    step: int
    agrees: bool
    words: str


class Plan:
    """Where lanes, columns and rows stand."""

    def __init__(self, system: TopSystem, motion: str, seen: Seen) -> None:
        self.system, self.seen = system, seen
        self.traces: tuple[StepTrace, ...] = fault_free(system, motion)
        self.command = system.motions[motion].command  # type: ignore[index]
        self.axes = list(dict.fromkeys(axis for trace in self.traces for axis in trace.step.moves))
        self.tops: dict[str, float] = {}
        y = HEAD
        for axis in self.axes:
            self.tops[axis] = y
            y += LEVEL * (len(system.axes[axis].places) - 1) + LANE_PAD
        self.lanes_end = y + 6
        self.stands = [self.traces[0].before, *(trace.after for trace in self.traces)]
        self.under_way = [{**one.before, **dict.fromkeys(one.step.moves, BETWEEN)} for one in self.traces]
        self.rest_states = [reports(system, pose, self.command) for pose in self.stands]
        self.move_states = [reports(system, pose, self.command) for pose in self.under_way]
        self.sensors = [code for code in system.sensors() if self._takes_part(code)]

    def _takes_part(self, code: str) -> bool:
        asked = any(code in trace.step.starts_when or code in trace.step.ends_when for trace in self.traces)
        return asked or len({states[code] for states in self.rest_states}) > 1

    def x_rest(self, index: int) -> float:
        """Where the rest before step `index` begins; after the last step with the number of steps."""
        return LEFT + STEP * index

    def x_move(self, index: int) -> float:
        return self.x_rest(index) + REST

    def y(self, axis: str, place: str) -> float:
        """The level of a place: the first place of an axis lies lowest."""
        places = self.system.axes[axis].places
        return self.tops[axis] + LANE_PAD / 2 + LEVEL * (len(places) - 1 - places.index(place))

    def y_row(self, index: int) -> float:
        """The middle of a sensor's row."""
        return self.lanes_end + ROW * (index + 0.5) + 4

    def found(self) -> Iterable[Found]:
        """Readings made in a pose in which the motion stands, or in which a step of it is under way. A control switch
        is held while the motion runs and is not compared."""
        for read in self.seen.reads:
            if self.system.positions[read.code].kind == "control-switch":
                continue
            due = pin_state(self.system, read.code, read.pose)
            words = _("{code} read {state}") if read.state == due else _("{code} read {state}, should be {due}")
            words = words.format(code=read.code, state=state_words(read.state), due=state_words(due))
            for x, step in self._where(read.pose):
                yield Found(read.code, x, step, read.state == due, words)

    def _where(self, pose: Mapping[str, str]) -> Iterable[tuple[float, int]]:
        for index, stand in enumerate(self.stands):
            if stand == pose:
                yield self.x_rest(index) + REST / 2, max(index - 1, 0)
        for index, under_way in enumerate(self.under_way):
            if under_way == pose:
                yield self.x_move(index) + MOVE / 2, index
