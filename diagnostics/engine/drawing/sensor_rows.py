"""The rows of a displacement-step diagram: where each sensor's pin is due to show made, what the module asks of it, and
what was read."""

from collections.abc import Iterable
from dataclasses import dataclass

from diagnostics.engine.drawing.marks import Label, Mark, fitted, mark, number, path_of
from diagnostics.engine.drawing.step_plan import REST, Found, Plan
from diagnostics.engine.motion import MADE
from diagnostics.engine.poses import place_words
from diagnostics.engine.system.model import BETWEEN

ROOM_FOR_WORDS = 40.0
"""Bars narrower than this carry no word; the lane above says the place."""


@dataclass(frozen=True, slots=True)
class SensorRow:
    """Bars of one sensor: `made` and `base` are path data, `asks` and `ends` the small signs of conditions."""

    code: str
    name: str
    made: str
    base: str
    asks: str
    ends: str
    texts: tuple[Label, ...]
    marks: tuple[Mark, ...]


def sensor_row(plan: Plan, found: Iterable[Found], code: str, index: int) -> SensorRow:
    """The bars of the sensor `code` in row `index`, with what was `found` on the diagram."""
    y, position = plan.y_row(index), plan.system.positions[code]
    spans = _spans(plan, code)
    made = [(start, end) for start, end, state in spans if state == MADE]
    placed = [one for one in spans if position.watches is not None and one[2] != BETWEEN]
    bars = made + [(start, end) for start, end, _state in placed]
    asks, ends = _conditions(plan, code, y + 6.5)
    return SensorRow(
        code=code,
        name=position.name,
        made="".join(_bar(start, end, y) for start, end in bars),
        base=f"M{number(plan.x_rest(0))} {number(y + 3)}H{number(plan.x_rest(len(plan.traces)) + REST)}",
        asks=asks,
        ends=ends,
        texts=tuple(
            fitted((start + end) / 2, y + 2, place_words(state), end - start - 2, 9, look="on-bar", anchor="middle")
            for start, end, state in placed
            if end - start >= ROOM_FOR_WORDS
        ),
        marks=tuple(_reads(found, code, y)),
    )


def _bar(start: float, end: float, y: float) -> str:
    return f"M{number(start)} {number(y - 6)}H{number(end)}V{number(y + 3)}H{number(start)}Z"


def _spans(plan: Plan, code: str) -> list[tuple[float, float, str]]:
    """The states of a sensor from left to right: (from x, to x, state), like neighbours joined."""
    spans: list[tuple[float, float, str]] = []
    for index, states in enumerate(plan.rest_states):
        pieces = [(plan.x_rest(index), plan.x_rest(index) + REST, states[code])]
        if index < len(plan.traces):
            pieces.append((plan.x_move(index), plan.x_rest(index + 1), plan.move_states[index][code]))
        for start, end, state in pieces:
            if spans and spans[-1][2] == state:
                spans[-1] = (spans[-1][0], end, state)
            else:
                spans.append((start, end, state))
    return spans


def _conditions(plan: Plan, code: str, y: float) -> tuple[str, str]:
    """Paths of the signs for what a step asks of the sensor: before it starts (a triangle), and to end (a square)."""
    asks = ends = ""
    for index, trace in enumerate(plan.traces):
        if code in trace.step.starts_when:
            x = plan.x_move(index)
            asks += path_of([(x - 3, y - 3), (x + 3, y), (x - 3, y + 3)], closed=True)
        if code in trace.step.ends_when:
            x = plan.x_rest(index + 1)
            ends += path_of([(x - 4, y - 2.5), (x + 1, y - 2.5), (x + 1, y + 2.5), (x - 4, y + 2.5)], closed=True)
    return asks, ends


def _reads(found: Iterable[Found], code: str, y: float) -> Iterable[Mark]:
    for one in found:
        if one.code == code:
            yield mark("agrees" if one.agrees else "differs", one.x, y - 1.5, 5, one.words)
