"""The few things that every diagram is made of, and how words are fitted into it."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from diagnostics.engine.poses import place_words
from diagnostics.engine.words import _

Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Line:
    """A path (`d` as in SVG) drawn in a `look`; `closed` encloses an area, `dashed` is on its way."""

    d: str
    look: str
    closed: bool = False
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Mark:
    """A small sign that stands for `words`. `sign`: made | released | place | agrees | differs | stop."""

    sign: str
    d: str
    words: str


@dataclass(frozen=True, slots=True)
class Label:
    """`text` at its baseline. `fit`: the width that it is squeezed into, 0 where it has room."""

    x: float
    y: float
    text: str
    look: str = ""
    anchor: str = "start"
    fit: float = 0.0


SIGNS = {
    "agrees": ((-1.0, 0.1), (-0.64, -0.24), (-0.24, 0.16), (0.64, -0.84), (1.0, -0.5), (-0.24, 0.88)),
    "differs": ((0.0, -1.1), (1.1, 0.0), (0.0, 1.1), (-1.1, 0.0)),
    "place": ((0.0, -1.1), (1.1, 0.0), (0.0, 1.1), (-1.1, 0.0)),
    "noted": ((-0.3, -1.0), (0.3, -1.0), (0.3, 1.0), (-0.3, 1.0)),
    "refused": (
        (-1.0, -0.65), (-0.65, -1.0), (0.0, -0.35), (0.65, -1.0), (1.0, -0.65), (0.35, 0.0),
        (1.0, 0.65), (0.65, 1.0), (0.0, 0.35), (-0.65, 1.0), (-1.0, 0.65), (-0.35, 0.0),
    ),
}  # fmt: skip
"""Corner points of the signs, as of the page's tags: they differ without any colour. `made` and `released` are
discs."""


def sign_path(sign: str, x: float, y: float, radius: float) -> str:
    """The path of a sign about (x, y)."""
    if sign == "stop":
        sign = "refused"
    if sign in SIGNS:
        return path_of([(x + radius * dx, y + radius * dy) for dx, dy in SIGNS[sign]], closed=True)
    left, r = number(x - radius), number(radius)
    across = number(2 * radius)
    return f"M{left} {number(y)}a{r} {r} 0 1 0 {across} 0a{r} {r} 0 1 0 -{across} 0Z"


def mark(sign: str, x: float, y: float, radius: float, words: str) -> Mark:
    return Mark(sign, sign_path(sign, x, y, radius), words)


def number(value: float) -> str:
    """One decimal at most, as short as it goes: half of a picture's weight is numbers."""
    text = f"{value:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def path_of(points: Iterable[Place], *, closed: bool = False) -> str:
    """Straight lines from point to point."""
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points) + ("Z" if closed else "")


def curve_points(points: list[Place], *, closed: bool) -> list[tuple[Place, Place, Place]]:
    """A smooth curve through `points` (Catmull-Rom): for each stretch two control points and where it ends. A point
    given twice stays a corner."""
    ring = [points[-1], *points, points[0], points[1]] if closed else [points[0], *points, points[-1]]
    stretches = []
    for before, (start, end), after in zip(ring, pairwise(ring[1:-1]), ring[3:], strict=False):
        first = (start[0] + (end[0] - before[0]) / 6, start[1] + (end[1] - before[1]) / 6)
        second = (end[0] - (after[0] - start[0]) / 6, end[1] - (after[1] - start[1]) / 6)
        if start != end:
            stretches.append((first, second, end))
    return stretches


def curve_of(points: list[Place], *, closed: bool = False) -> str:
    parts = [
        "C" + " ".join(f"{number(x)} {number(y)}" for x, y in stretch)
        for stretch in curve_points(points, closed=closed)
    ]
    return f"M{number(points[0][0])} {number(points[0][1])}" + "".join(parts) + ("Z" if closed else "")


def state_words(state: str) -> str:
    return {"made": _("made"), "released": _("released")}.get(state) or place_words(state)


def width_of(text: str, size: float) -> float:
    """About how wide `text` is at a font size: an average letter of a sans-serif face is 0.56 of it."""
    return 0.56 * size * len(text)


def fitted(x: float, y: float, text: str, room: float, size: float, *, look: str = "", anchor: str = "start") -> Label:
    """A label that is squeezed where its words would not fit into `room`."""
    return Label(x, y, text, look, anchor, room if width_of(text, size) > room else 0.0)


def wrapped(text: str, room: float, size: float, most: int) -> tuple[str, ...]:
    """`text` in at most `most` lines of about `room`; the last one takes what is left."""
    lines: list[str] = []
    for word in text.split():
        if lines and (width_of(f"{lines[-1]} {word}", size) <= room or len(lines) == most):
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return tuple(lines)
