"""The `drawing` of a system file: what the top looks like from its left side, and how each axis moves it.

Points are [x, z] in mm: x grows to the rear, z upwards, 0 is the ground. Every part is drawn where it lies while
nothing has moved; a place of its axis then turns it about its pivot and shifts it. A part that lies `hangs_on` another
one moves with that one as well.
"""

from typing import Annotated, Literal

from pydantic import Field

from diagnostics.engine.system.base import Code, Frozen, Slug

Millimetres = Annotated[float, Field(ge=-10_000, le=10_000)]
Point = tuple[Millimetres, Millimetres]
Look = Literal["body", "shell", "glass", "frame", "inside", "hook"]
"""How a shape is drawn: the fixed car, an outer skin, a window, a link, something behind the skin, a latch."""


class Shape(Frozen):
    """A line through `points`, or the area inside them. `smooth` makes one curve of it, in which a point written twice
    stays a corner."""

    look: Look = "shell"
    closed: bool = False
    smooth: bool = False
    points: tuple[Point, ...] = Field(min_length=2, max_length=60)


class Move(Frozen):
    """How far a place has moved a part: `turn` in degrees about the part's pivot (positive as a top falls to the rear),
    then `shift` in mm. `away`: it is not in the car."""

    turn: float = Field(default=0.0, ge=-360, le=360)
    shift: Point = (0.0, 0.0)
    away: bool = False


class DrawnPart(Frozen):
    """What one axis moves. `places` has an entry for every place of the axis."""

    axis: Slug
    hangs_on: Slug | None = None
    pivot: Point | None = None
    places: dict[Slug, Move] = Field(min_length=2, max_length=12)
    shapes: tuple[Shape, ...] = Field(min_length=1, max_length=12)


class Spot(Frozen):
    """Where a position sits: on a part, or on the body without `hangs_on`. A cylinder also says where its rod ends."""

    at: Point
    hangs_on: Slug | None = None
    to: Point | None = None
    to_hangs_on: Slug | None = None


class Hold(Frozen):
    """A point that cloth is held at."""

    at: Point
    hangs_on: Slug | None = None


class Cloth(Frozen):
    """Fabric, or a window sewn into it: a line from hold to hold."""

    look: Literal["cloth", "glass"] = "cloth"
    holds: tuple[Hold, ...] = Field(min_length=2, max_length=40)


class Drawing(Frozen):
    """`body`: what never moves. `parts` are drawn over each other in their order, cloth over them."""

    body: tuple[Shape, ...] = Field(min_length=1, max_length=20)
    parts: dict[Slug, DrawnPart] = Field(min_length=1, max_length=40)
    cloth: tuple[Cloth, ...] = Field(default=(), max_length=10)
    spots: dict[Code, Spot] = Field(default_factory=dict, max_length=200)
