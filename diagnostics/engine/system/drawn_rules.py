"""Whether a drawing fits its system: every axis and place is drawn, nothing hangs on what is not there."""

from collections.abc import Iterator
from itertools import combinations

from diagnostics.engine.system.drawn import Drawing, DrawnPart
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.problems import At, Finding, shown
from diagnostics.engine.words import _

MOST_POINTS = 2000
"""Points of all shapes and cloth together: a picture of more is no sketch, and no light page."""


def drawing_findings(system: TopSystem) -> Iterator[Finding]:
    drawing = system.drawing
    if drawing is None:
        return
    yield from _size(drawing)
    for name, part in drawing.parts.items():
        yield from _part(system, drawing, ("drawing", "parts", name), name, part)
    for index, cloth in enumerate(drawing.cloth):
        for number, hold in enumerate(cloth.holds):
            yield from _on(drawing, ("drawing", "cloth", str(index), "holds", str(number), "hangs_on"), hold.hangs_on)
    yield from _spots(system, drawing)
    yield from _axes(system, drawing)


def _size(drawing: Drawing) -> Iterator[Finding]:
    shapes = [*drawing.body, *(shape for part in drawing.parts.values() for shape in part.shapes)]
    count = sum(len(shape.points) for shape in shapes) + sum(len(cloth.holds) for cloth in drawing.cloth)
    if count > MOST_POINTS:
        words = _("The drawing has {count} points; expected at most {most} in all.")
        yield ("drawing",), words.format(count=count, most=MOST_POINTS)


def _part(system: TopSystem, drawing: Drawing, at: At, name: str, part: DrawnPart) -> Iterator[Finding]:
    axis = system.axes.get(part.axis)
    if axis is None:
        words = _("The axis {axis} is not declared; expected one of: {known}.")
        yield (*at, "axis"), words.format(axis=shown(part.axis), known=", ".join(system.axes))
    else:
        missing = [place for place in axis.places if place not in part.places]
        if missing:
            words = _("Every place of the axis {axis} needs an entry here; missing: {places}.")
            yield (*at, "places"), words.format(axis=part.axis, places=", ".join(missing))
        for place in part.places:
            if place not in axis.places:
                words = _("The axis {axis} has no place {place}; expected one of: {known}.")
                known = ", ".join(axis.places)
                yield (*at, "places", place), words.format(axis=part.axis, place=shown(place), known=known)
    if part.pivot is None and any(move.turn for move in part.places.values()):
        yield at, _("A place turns this part, but there is no pivot to turn it about.")
    yield from _on(drawing, (*at, "hangs_on"), part.hangs_on)
    if _hangs_on_itself(drawing, name):
        yield (*at, "hangs_on"), _("The part {part} hangs on itself.").format(part=shown(name))


def _hangs_on_itself(drawing: Drawing, name: str) -> bool:
    above, seen = drawing.parts[name].hangs_on, set()
    while above in drawing.parts and above not in seen:
        if above == name:
            return True
        seen.add(above)
        above = drawing.parts[above].hangs_on
    return False


def _on(drawing: Drawing, at: At, part: str | None) -> Iterator[Finding]:
    if part is not None and part not in drawing.parts:
        words = _("The drawing has no part {part}; expected one of: {known}.")
        yield at, words.format(part=shown(part), known=", ".join(drawing.parts))


def _spots(system: TopSystem, drawing: Drawing) -> Iterator[Finding]:
    for code, spot in drawing.spots.items():
        at = ("drawing", "spots", code)
        if code not in system.positions:
            yield at, _("The position {code} is not declared.").format(code=code)
        yield from _on(drawing, (*at, "hangs_on"), spot.hangs_on)
        yield from _on(drawing, (*at, "to_hangs_on"), spot.to_hangs_on)
        if spot.to_hangs_on is not None and spot.to is None:
            yield (*at, "to"), _("{name} is missing.").format(name=shown("to"))


def _axes(system: TopSystem, drawing: Drawing) -> Iterator[Finding]:
    """Axes that the picture does not show, or not in each of their places."""
    for name, axis in system.axes.items():
        parts = [part for part in drawing.parts.values() if part.axis == name]
        if not parts:
            words = _("No part draws the axis {axis}; a picture without it would mislead.")
            yield ("drawing", "parts"), words.format(axis=name)
            continue
        for first, second in combinations(axis.places, 2):
            if all(first in part.places and part.places.get(first) == part.places.get(second) for part in parts):
                words = _("The axis {axis} is drawn the same in {first} and in {second}.")
                yield ("drawing", "parts"), words.format(axis=name, first=first, second=second)
