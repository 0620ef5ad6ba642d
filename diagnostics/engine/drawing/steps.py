"""The displacement-step diagram of a motion, in the manner of VDI 3260 (withdrawn, still usual; from memory): a lane an
axis with its places as levels, a column a step, lines that rise and fall, thin signal lines from what ends a step to
what it starts. Below, for each sensor, bars where its pin is due to show made, and what a sheet has read there.

The labels on the left are a picture of their own, so that they stay while the columns scroll.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from diagnostics.engine.drawing.marks import (
    Label,
    Line,
    Mark,
    fitted,
    mark,
    number,
    path_of,
    state_words,
    width_of,
    wrapped,
)  # fmt: skip
from diagnostics.engine.drawing.sensor_rows import SensorRow, sensor_row
from diagnostics.engine.drawing.step_plan import (
    HEAD,
    LANE_PAD,
    LEFT,
    LEVEL,
    MOVE,
    REST,
    ROW,
    SIDE,
    STEP,
    Found,
    Plan,
    Seen,
)
from diagnostics.engine.motion import MADE
from diagnostics.engine.poses import plain
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.words import _


@dataclass(frozen=True, slots=True)
class Column:
    """A step: its number in a disc about (x, y), the words of its head; `stalls` who says that the top stopped here."""

    number: int
    x: float
    left: float
    width: float
    labels: tuple[Label, ...]
    stalls: tuple[str, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class StepWords:
    """A step for the table beside the picture."""

    number: int
    title: str
    moves: str
    ends: str
    usual: str
    seconds: str
    is_slow: bool
    stalls: tuple[str, ...]
    reads: tuple[Found, ...]


@dataclass(frozen=True, slots=True)
class StepDiagram:
    motion: str
    title: str
    words: str
    side: float
    width: float
    height: float
    lanes_end: float
    side_labels: tuple[Label, ...]
    columns: tuple[Column, ...]
    levels: str
    lanes: tuple[Line, ...]
    signals: tuple[Line, ...]
    dots: str
    signal_labels: tuple[Label, ...]
    rows: tuple[SensorRow, ...]
    steps: tuple[StepWords, ...]
    has_reads: bool


def step_diagram(system: TopSystem, motion: str, seen: Seen | None = None) -> StepDiagram:
    """The diagram of `motion`. Raises CaseError for an unknown motion."""
    plan = Plan(system, motion, seen or Seen())
    found = tuple(plan.found())
    rows = tuple(sensor_row(plan, found, code, index) for index, code in enumerate(plan.sensors))
    declared = system.motions[motion]  # type: ignore[index]
    words = _("{motion}: {count} steps. {stalls}").format(
        motion=declared.title, count=len(plan.traces), stalls=_stall_words(plan)
    )
    return StepDiagram(
        motion=motion,
        title=declared.title,
        words=words.strip(),
        side=SIDE,
        width=plan.x_rest(len(plan.traces)) + REST + LEFT,
        height=plan.lanes_end + ROW * len(rows) + 10,
        lanes_end=plan.lanes_end,
        side_labels=tuple(_side_labels(plan)),
        columns=tuple(_column(plan, index) for index in range(len(plan.traces))),
        levels=_levels(plan),
        lanes=tuple(Line(path_of(_lane(plan, axis)), "lane") for axis in plan.axes),
        signals=tuple(_signals(plan)),
        dots="".join(_origin_dots(plan)),
        signal_labels=tuple(_signal_labels(plan)),
        rows=rows,
        steps=tuple(_step_words(plan, index, found) for index in range(len(plan.traces))),
        has_reads=bool(found),
    )


def _stall_words(plan: Plan) -> str:
    titles = {trace.step.name: trace.step.title for trace in plan.traces}
    return " ".join(
        _("Stops at “{step}” ({who}).").format(step=titles[step], who=who)
        for step, who in plan.seen.stalls
        if step in titles
    )


def _side_labels(plan: Plan) -> Iterable[Label]:
    for axis in plan.axes:
        top, places = plan.tops[axis], plan.system.axes[axis].places
        room = SIDE - 58
        lines = wrapped(plain(axis), room, 11, 2)
        middle = top + LANE_PAD / 2 + LEVEL * (len(places) - 1) / 2 + 4
        for index, line in enumerate(lines):
            yield fitted(2, middle + 12 * (index - (len(lines) - 1) / 2), line, room, 11, look="axis")
        for place in places:
            yield fitted(SIDE - 3, plan.y(axis, place) + 3.5, plain(place), 54, 10, look="soft", anchor="end")
    for index, code in enumerate(plan.sensors):
        y = plan.y_row(index) + 4
        yield Label(2, y, code, "code")
        yield Label(39, y, _cut(plan.system.positions[code].name, SIDE - 42, 10), "name")


def _cut(text: str, room: float, size: float) -> str:
    if width_of(text, size) <= room:
        return text
    return text[: int(room / (0.56 * size)) - 1].rstrip(" ,") + "…"


def _column(plan: Plan, index: int) -> Column:
    step = plan.traces[index].step
    x, middle = plan.x_move(index), plan.x_move(index) + MOVE / 2
    labels = [
        fitted(middle, 33 + 11 * line, words, STEP - 4, 10, look="step", anchor="middle")
        for line, words in enumerate(wrapped(plain(step.name), STEP - 8, 10, 2))
    ]
    labels.append(Label(middle, 57, _usual(step.seconds), "soft", "middle"))
    seconds = plan.seen.seconds.get(step.name)
    marks = []
    if seconds is not None:
        slow = _is_slow(step.seconds, seconds)
        labels.append(Label(middle + 6, 72, _("{seconds:g} s").format(seconds=seconds), "trial", "middle"))
        sign = "differs" if slow else "agrees"
        marks.append(mark(sign, middle - 18, 68.5, 4.4, _("slow") if slow else _("usual")))
    # else "agrees", middle - 18, 68.5, 4.4, _("slow") if slow else _("usual"))
    stalls = tuple(who for name, who in plan.seen.stalls if name == step.name)
    if stalls:
        marks.append(mark("stop", middle - 24, 13, 6, _("stopped here: {who}").format(who=", ".join(stalls))))
        labels.append(fitted(middle + 13, 17, _("stops"), 27, 11, look="stop-word"))
    return Column(index + 1, middle, x - REST / 2, STEP, tuple(labels), stalls, tuple(marks))


def _usual(seconds: tuple[float, float]) -> str:
    return _("{low:g}–{high:g} s").format(low=seconds[0], high=seconds[1])


def _is_slow(usual: tuple[float, float], seconds: float) -> bool:
    return seconds > usual[1]


def _levels(plan: Plan) -> str:
    end = number(plan.x_rest(len(plan.traces)) + REST)
    return "".join(
        f"M0 {number(plan.y(axis, place))}H{end}" for axis in plan.axes for place in plan.system.axes[axis].places
    )


def _lane(plan: Plan, axis: str) -> list[tuple[float, float]]:
    points = [(plan.x_rest(0), plan.y(axis, plan.stands[0][axis]))]
    for index, trace in enumerate(plan.traces):
        if axis in trace.step.moves:
            start, to = trace.step.moves[axis]
            points += [(plan.x_move(index), plan.y(axis, start)), (plan.x_rest(index + 1), plan.y(axis, to))]
    points.append((plan.x_rest(len(plan.traces)) + REST, plan.y(axis, plan.stands[-1][axis])))
    return points


def _origins(plan: Plan, index: int) -> dict[str, float]:
    """Axes that step `index` has brought to their place, with the y of that place."""
    return {axis: plan.y(axis, to) for axis, (_start, to) in plan.traces[index].step.moves.items()}


def _signals(plan: Plan) -> Iterable[Line]:
    """From where a step's end is reported to what it starts; the first one comes from the control switch, by hand."""
    for index, trace in enumerate(plan.traces):
        middle, x = plan.x_rest(index) + REST / 2, plan.x_move(index)
        targets = [plan.y(axis, start) for axis, (start, _to) in trace.step.moves.items()]
        sources = [HEAD - 4] if index == 0 else list(_origins(plan, index - 1).values())
        ends = [*targets, *sources]
        if max(ends) - min(ends) > 1:
            yield Line(path_of([(middle, min(ends)), (middle, max(ends))]), "signal")
        for y in targets:
            yield Line(path_of([(x - 6, y - 3.5), (x, y), (x - 6, y + 3.5)], closed=True), "arrow", closed=True)


def _origin_dots(plan: Plan) -> Iterable[str]:
    for index in range(len(plan.traces) - 1):
        for y in _origins(plan, index).values():
            yield mark("made", plan.x_rest(index + 1) + REST / 2, y, 3, "").d


def _signal_labels(plan: Plan) -> Iterable[Label]:
    """Which sensors report the end of a step, beside the place that they report."""
    yield Label(plan.x_rest(0) + REST / 2 + 4, HEAD + 4, f"● {plan.command}", "signal-name")
    for index in range(len(plan.traces) - 1):
        step = plan.traces[index].step
        onward = [plan.y(axis, start) for axis, (start, _to) in plan.traces[index + 1].step.moves.items()]
        for axis, y in _origins(plan, index).items():
            codes = [code for code in step.ends_when if axis in _axes_of(plan.system, code)]
            text = " ".join(_with_sign(code, step.ends_when[code]) for code in codes)
            down = min(onward, key=lambda one: abs(one - y)) > y
            if text:
                yield Label(plan.x_rest(index + 1) + REST / 2 + 4, y + (12 if down else -5), text, "signal-name")


def _with_sign(code: str, state: str) -> str:
    return f"{'●' if state == MADE else '○' if state == 'released' else '◇'} {code}"


def _axes_of(system: TopSystem, code: str) -> frozenset[str]:
    position = system.positions[code]
    if position.watches is not None:
        return frozenset({position.watches})
    return position.made_when.axes() if position.made_when is not None else frozenset()


def _step_words(plan: Plan, index: int, found: Iterable[Found]) -> StepWords:
    step = plan.traces[index].step
    titles = plan.system.axes
    moves = "; ".join(
        _("{axis}: {start} to {to}").format(axis=titles[axis].title, start=plain(start), to=plain(to))
        for axis, (start, to) in step.moves.items()
    )
    ends = ", ".join(f"{code} {state_words(state)}" for code, state in step.ends_when.items())
    seconds = plan.seen.seconds.get(step.name)
    return StepWords(
        number=index + 1,
        title=step.title,
        moves=moves,
        ends=ends,
        usual=_usual(step.seconds),
        seconds="" if seconds is None else _("{seconds:g} s").format(seconds=seconds),
        is_slow=seconds is not None and _is_slow(step.seconds, seconds),
        stalls=tuple(who for name, who in plan.seen.stalls if name == step.name),
        reads=tuple(one for one in found if one.step == index),
    )
