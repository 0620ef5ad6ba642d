"""The life chart of a car: what stood at each position over the years, where it failed and was replaced, and how far
the car had run. Content and places for a drawing; dates in, pixels out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

WIDTH = 760
LEFT, RIGHT, TOP, BOTTOM = 64, 12, 24, 8
ROW = 26
ODOMETER = 72
"""Height of the odometer's lane."""
YEARS_AT_MOST = 14
"""More than that would stand on each other: every second, fifth or tenth year is written then."""


@dataclass(frozen=True, slots=True)
class Life:
    """One unit at its place, from `start` to `end` (None: it is there now)."""

    start: date
    end: date | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """A position with its units over time, oldest first, and the days on which a fault was taken away there."""

    position: str
    lives: tuple[Life, ...]
    failures: tuple[date, ...] = ()


@dataclass(frozen=True, slots=True)
class Bar:
    """`now`: the unit is still there."""

    x: float
    width: float
    now: bool


@dataclass(frozen=True, slots=True)
class Row:
    """`y`: the middle of the row; `replaced` and `failed`: where along the time."""

    position: str
    y: float
    bars: tuple[Bar, ...]
    replaced: tuple[float, ...]
    failed: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class LifeChart:
    """In pixels. `odometer`: the readings as points of a line, '' where there are none; `km`: the highest of them."""

    height: float
    rows: tuple[Row, ...]
    years: tuple[tuple[float, int], ...]
    odometer: str
    dots: tuple[tuple[float, float], ...]
    km: int
    width: float = WIDTH
    left: float = LEFT
    top: float = TOP

    @property
    def bottom(self) -> float:
        return self.height - BOTTOM

    @property
    def odometer_top(self) -> float:
        return self.bottom - ODOMETER


def life_chart(places: Sequence[Place], readings: Sequence[tuple[date, int]], first: date, last: date) -> LifeChart:
    """`first` to `last`: the days that the chart spans; what lies outside is drawn at its edge."""
    scale = _Scale(min(first, last), max(first, last))
    rows = tuple(_row(place, TOP + ROW * (at + 0.5), scale) for at, place in enumerate(places))
    odometer = bool(readings)
    height = TOP + ROW * len(places) + BOTTOM + (ODOMETER + BOTTOM if odometer else 0)
    km = max((value for _day, value in readings), default=0)
    floor, tall = height - BOTTOM, ODOMETER - 14
    dots = tuple((scale.x(day), round(floor - tall * value / max(km, 1), 1)) for day, value in sorted(readings))
    line = " ".join(f"{x},{y}" for x, y in dots)
    return LifeChart(height, rows, scale.years(), line, dots, km)


@dataclass(frozen=True, slots=True)
class _Scale:
    first: date
    last: date

    def x(self, day: date) -> float:
        span = max((self.last - self.first).days, 1)
        share = (min(max(day, self.first), self.last) - self.first).days / span
        return round(LEFT + share * (WIDTH - LEFT - RIGHT), 1)

    def years(self) -> tuple[tuple[float, int], ...]:
        """The first days of years within the span, as many as can be written beside each other."""
        within = [year for year in range(self.first.year, self.last.year + 1) if date(year, 1, 1) >= self.first]
        step = next((step for step in (1, 2, 5, 10) if len(within) / step <= YEARS_AT_MOST), 20)
        return tuple((self.x(date(year, 1, 1)), year) for year in within if year % step == 0)


def _row(place: Place, y: float, scale: _Scale) -> Row:
    bars = []
    for life in place.lives:
        start, end = scale.x(life.start), scale.x(life.end or scale.last)
        bars.append(Bar(start, round(max(end - start, 2.0), 1), life.end is None))
    replaced = tuple(scale.x(life.end) for life in place.lives if life.end is not None)
    return Row(place.position, y, tuple(bars), replaced, tuple(scale.x(day) for day in place.failures))
