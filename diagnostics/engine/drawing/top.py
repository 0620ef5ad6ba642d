"""The top in its pose, seen from the left: every part of the system's drawing where the pose has brought it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import cos, radians, sin

from diagnostics.engine.drawing.callouts import Callout, placed
from diagnostics.engine.drawing.marks import Line, Mark, Place, curve_of, curve_points, path_of
from diagnostics.engine.motion import fault_free, pin_state
from diagnostics.engine.poses import pose_words
from diagnostics.engine.system.drawn import Drawing, DrawnPart, Move, Shape, Spot
from diagnostics.engine.system.model import BETWEEN, SENSORS, TopSystem
from diagnostics.engine.words import _

WIDTH = 400.0
MARGIN = 8.0
Moving = Mapping[str, tuple[str, str]]
"""Axis -> the places that it is on its way from and to."""


@dataclass(frozen=True, slots=True)
class TopPicture:
    """`width` by `height` units. `lines` from the back to the front, `callouts` name the sensors, `ground` is its y."""

    width: float
    height: float
    ground: float
    lines: tuple[Line, ...]
    marks: tuple[Mark, ...]
    callouts: tuple[Callout, ...]
    title: str
    words: str


@dataclass(frozen=True, slots=True)
class _Turned:
    """Where a point goes: turned by the matrix, then shifted."""

    xx: float = 1.0
    xz: float = 0.0
    zx: float = 0.0
    zz: float = 1.0
    x: float = 0.0
    z: float = 0.0

    def __call__(self, point: Place) -> Place:
        x, z = point
        return self.xx * x + self.xz * z + self.x, self.zx * x + self.zz * z + self.z

    def after(self, first: "_Turned") -> "_Turned":
        x, z = self((first.x, first.z))
        return _Turned(
            self.xx * first.xx + self.xz * first.zx,
            self.xx * first.xz + self.xz * first.zz,
            self.zx * first.xx + self.zz * first.zx,
            self.zx * first.xz + self.zz * first.zz,
            x,
            z,
        )


@dataclass(frozen=True, slots=True)
class _Stand:
    """How a part stands in a pose: `dashed` on its way (or lying on what is), `away` not in the car."""

    where: _Turned
    dashed: bool = False
    away: bool = False


_BODY = _Stand(_Turned())


def top_picture(
    system: TopSystem,
    pose: Mapping[str, str],
    *,
    moving: Moving | None = None,
    reported: Mapping[str, str] | None = None,
    view: Iterable[Place] | None = None,
    labels: bool = True,
) -> TopPicture | None:
    """The picture of `pose` (axis -> place or `between`); None where the system has no drawing. `view`: what `view_of`
    gave, for who draws several.

    An axis that is `between` is drawn dashed, halfway between the places of `moving`, or else between its first and its
    last. `reported`: sensor -> the state last read in this pose; one that differs from what a sound sensor gives is
    marked. `labels`: whether the sensors are named.
    """
    drawing = system.drawing
    if drawing is None:
        return None
    stands = _stands(system, drawing, pose, moving or {})
    frame = _Frame([*(view_of(system) if view is None else view), *_points(drawing, stands)])
    dots = _dots(system, drawing, pose, stands, frame, reported or {}) if labels else []
    bands = placed(dots, WIDTH, frame.height)
    frame = frame.lowered(bands.above)
    return TopPicture(
        width=WIDTH,
        height=frame.height + bands.above + bands.below,
        ground=frame((0.0, 0.0))[1],
        lines=tuple(_lines(drawing, stands, frame)),
        marks=tuple(_cylinders(system, drawing, stands, frame)),
        callouts=bands.callouts,
        title=system.title,
        words=_("Seen from the left: {pose}.").format(pose=pose_words(system, pose)),
    )


class _Frame:
    """From mm to units of the view box. `height` without the bands of labels."""

    def __init__(self, points: Iterable[Place], top: float = 0.0) -> None:
        self.corners = list(points)
        xs, zs = [x for x, _z in self.corners], [z for _x, z in self.corners]
        self.left, self.high, low = min(xs), max(zs), min(0.0, *zs)
        self.scale = (WIDTH - 2 * MARGIN) / max(max(xs) - self.left, 1.0)
        self.height = (self.high - low) * self.scale + 2 * MARGIN
        self.top = top

    def __call__(self, point: Place) -> Place:
        x, z = point
        return MARGIN + (x - self.left) * self.scale, self.top + MARGIN + (self.high - z) * self.scale

    def lowered(self, top: float) -> "_Frame":
        return _Frame(self.corners, top)


def _stands(system: TopSystem, drawing: Drawing, pose: Mapping[str, str], moving: Moving) -> dict[str, _Stand]:
    found: dict[str, _Stand] = {}

    def stand(name: str | None) -> _Stand:
        if name is None:
            return _BODY
        if name not in found:
            part = drawing.parts[name]
            below, own = stand(part.hangs_on), _own_move(system, part, pose, moving)
            where = below.where.after(_turned(part, own))
            dashed = below.dashed or pose[part.axis] == BETWEEN
            found[name] = _Stand(where, dashed, below.away or own.away)
        return found[name]

    for name in drawing.parts:
        stand(name)
    return found


def _own_move(system: TopSystem, part: DrawnPart, pose: Mapping[str, str], moving: Moving) -> Move:
    place = pose[part.axis]
    if place != BETWEEN:
        return part.places[place]
    places = system.axes[part.axis].places
    start, to = (part.places[one] for one in moving.get(part.axis, (places[0], places[-1])))
    shift = ((start.shift[0] + to.shift[0]) / 2, (start.shift[1] + to.shift[1]) / 2)
    return Move(turn=(start.turn + to.turn) / 2, shift=shift, away=start.away and to.away)


def _turned(part: DrawnPart, move: Move) -> _Turned:
    angle, (x, z) = radians(move.turn), part.pivot or (0.0, 0.0)
    c, s = cos(angle), sin(angle)
    return _Turned(c, s, -s, c, x - c * x - s * z + move.shift[0], z + s * x - c * z + move.shift[1])


def view_of(system: TopSystem) -> tuple[Place, ...]:
    """Points that every picture must hold: of all poses of the motions, so that the car stands still from picture to
    picture. Empty where the system has no drawing."""
    drawing, corners = system.drawing, list[Place]()
    if drawing is None:
        return ()
    for motion in system.motions:
        for trace in fault_free(system, motion):
            half = {**trace.before, **dict.fromkeys(trace.step.moves, BETWEEN)}
            for pose in (trace.before, half, trace.after):
                corners += _points(drawing, _stands(system, drawing, pose, trace.step.moves))
    xs, zs = [x for x, _z in corners], [z for _x, z in corners]
    return (min(xs), min(zs)), (max(xs), max(zs))


def _points(drawing: Drawing, stands: Mapping[str, _Stand]) -> list[Place]:
    found = [point for shape in drawing.body for point in _outline(shape, _BODY.where)]
    for name, part in drawing.parts.items():
        if not stands[name].away:
            found += [point for shape in part.shapes for point in _outline(shape, stands[name].where)]
    for cloth in drawing.cloth:
        found += [_where(stands, hold.hangs_on)(hold.at) for hold in cloth.holds]
    for spot in drawing.spots.values():
        found += _ends(spot, stands)
    return found


def _outline(shape: Shape, where: _Turned) -> list[Place]:
    points = [where(point) for point in shape.points]
    if shape.smooth:
        points += [point for stretch in curve_points(points, closed=shape.closed) for point in stretch]
    return points


def _where(stands: Mapping[str, _Stand], name: str | None) -> _Turned:
    return _BODY.where if name is None else stands[name].where


def _ends(spot: Spot, stands: Mapping[str, _Stand]) -> list[Place]:
    start = _where(stands, spot.hangs_on)(spot.at)
    return [start] if spot.to is None else [start, _where(stands, spot.to_hangs_on)(spot.to)]


def _lines(drawing: Drawing, stands: Mapping[str, _Stand], frame: _Frame) -> Iterable[Line]:
    for shape in drawing.body:
        yield _line(shape, _BODY, frame)
    for name, part in drawing.parts.items():
        if not stands[name].away:
            for shape in part.shapes:
                yield _line(shape, stands[name], frame)
    for cloth in drawing.cloth:
        dashed = any(hold.hangs_on is not None and stands[hold.hangs_on].dashed for hold in cloth.holds)
        held = [frame(_where(stands, hold.hangs_on)(hold.at)) for hold in cloth.holds]
        yield Line(path_of(held), cloth.look, dashed=dashed)


def _line(shape: Shape, stand: _Stand, frame: _Frame) -> Line:
    points = [frame(stand.where(point)) for point in shape.points]
    draw = curve_of if shape.smooth else path_of
    return Line(draw(points, closed=shape.closed), shape.look, shape.closed, stand.dashed)


def _cylinders(system: TopSystem, drawing: Drawing, stands: Mapping[str, _Stand], frame: _Frame) -> Iterable[Mark]:
    """Barrel and rod of each cylinder that says where its rod ends; every other drive as a small square."""
    for code, spot in drawing.spots.items():
        position = system.positions[code]
        if position.kind in SENSORS:
            continue
        ends = [frame(one) for one in _ends(spot, stands)]
        words = f"{code} {position.name}"
        if len(ends) == 2:
            (x, y), (to_x, to_y) = ends
            middle = ((x + to_x) / 2, (y + to_y) / 2)
            yield Mark("barrel", path_of([(x, y), middle]), words)
            yield Mark("rod", path_of([middle, (to_x, to_y)]), words)
        else:
            x, y = ends[0]
            corners = [(x - 4, y - 4), (x + 4, y - 4), (x + 4, y + 4), (x - 4, y + 4)]
            yield Mark("drive", path_of(corners, closed=True), words)


def _dots(
    system: TopSystem,
    drawing: Drawing,
    pose: Mapping[str, str],
    stands: Mapping[str, _Stand],
    frame: _Frame,
    reported: Mapping[str, str],
) -> list[Callout]:
    """Each sensor at its place, before its label has one."""
    found = []
    for code, spot in drawing.spots.items():
        position = system.positions[code]
        if position.kind not in SENSORS:
            continue
        state = pin_state(system, code, pose)
        x, y = frame(_ends(spot, stands)[0])
        sign = state if position.watches is None else "place"
        differs = code in reported and reported[code] != state
        found.append(Callout(code, position.name, state, reported.get(code, ""), sign, differs, x, y))
    return found
