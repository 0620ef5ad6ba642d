"""The picture of a work plan: a bar for each open task along the working days. Beside it stands the same as a table."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from django.utils import formats

from shop.planning.layout import Layout
from shop.words import work_words

HEAD_PX, ROW_PX = 20, 34
LABEL_SHARE = 19.0
"""Per cent of the width that a day needs to be written, on a telephone."""


@dataclass(frozen=True, slots=True)
class Bar:
    """`x`, `width`, `slack_x` (where its latest finish lies) in per cent, `y` in pixels. `on_chain`: without slack."""

    title: str
    x: float
    width: float
    slack_x: float
    y: int
    on_chain: bool
    slack: str
    begins: dt.datetime
    ends: dt.datetime


@dataclass(frozen=True, slots=True)
class Tick:
    """Where a working day begins; `words` '' where there is no room to name it."""

    x: float
    words: str


@dataclass(frozen=True, slots=True)
class Picture:
    bars: tuple[Bar, ...]
    ticks: tuple[Tick, ...]
    height: int


def picture_of(layout: Layout, titles: Mapping[int, str]) -> Picture:
    """Earliest first, those that begin together in the order of the plan."""
    scale = 100.0 / max(layout.length, 1.0)
    order = sorted(layout.tasks, key=lambda key: layout.tasks[key].times.earliest_start)
    bars = []
    for row, key in enumerate(order):
        one, times = layout.tasks[key], layout.tasks[key].times
        slack = round(times.slack)
        bars.append(
            Bar(
                title=titles[key],
                x=round(times.earliest_start * scale, 2),
                width=round((times.earliest_finish - times.earliest_start) * scale, 2),
                slack_x=round(times.latest_finish * scale, 2),
                y=HEAD_PX + row * ROW_PX,
                on_chain=slack == 0,
                slack=work_words(slack),
                begins=one.begins,
                ends=one.ends,
            )
        )
    return Picture(tuple(bars), _ticks(layout, scale), HEAD_PX + len(bars) * ROW_PX)


def _ticks(layout: Layout, scale: float) -> tuple[Tick, ...]:
    ticks, free = [], 0.0
    for at, day in layout.days:
        x = round(at * scale, 2)
        room = free <= x <= 100 - LABEL_SHARE / 2
        ticks.append(Tick(x, formats.date_format(day, "D j M") if room else ""))
        free = x + LABEL_SHARE if room else free
    return tuple(ticks)
