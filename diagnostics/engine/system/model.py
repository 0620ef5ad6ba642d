"""The frozen model of a top system file.

Shapes only: what a file may say. Whether it makes sense (motions run, switches reach both states, nothing unknown) is
`validate.py`; reading a file with places of mistakes is `load.py`.
"""

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, StringConstraints

from diagnostics.engine.system.base import Code, Frozen, Name, Slug
from diagnostics.engine.system.drawn import Drawing
from diagnostics.engine.system.inspection import InspectionRules

BETWEEN = "between"
"""The place of an axis that stands in none of its named places."""

Colour = Literal["BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK", "GD", "TQ", "SR"]
"""IEC 60757:2021, Table 1. Order is kept as written: base colour first, then stripe."""

Lamp = Literal["flashing", "steady", "off"]
Caution = Literal["pinch", "prop", "pressure", "injection", "battery", "ignition", "spring", "two-people"]
Kind = Literal[
    "switch",
    "hall-sensor",
    "angle-sensor",
    "control-switch",
    "cylinder",
    "pump",
    "motor",
    "valve",
    "latch",
    "module",
    "supply",
]
SENSORS: frozenset[str] = frozenset({"switch", "hall-sensor", "angle-sensor", "control-switch"})
ACTUATORS: frozenset[str] = frozenset({"cylinder", "pump", "motor", "valve", "latch"})
KIND_LETTERS: Mapping[str, str] = {
    "switch": "BG",
    "hall-sensor": "BG",
    "angle-sensor": "BG",
    "control-switch": "SF",
    "cylinder": "MM",
    "pump": "GP",
    "motor": "MA",
    "valve": "QM",
    "latch": "MB",
    "module": "KF",
    "supply": "GB",
}
"""Letter codes of IEC 81346-2 by kind of position (from memory, except those that the trade notes list)."""


def _as_tuple(value: Any) -> Any:
    return (value,) if isinstance(value, str) else value


Places = Annotated[tuple[str, ...], BeforeValidator(_as_tuple)]


class Axis(Frozen):
    """A moving thing and its named places, in the order in which it passes them."""

    title: Name
    places: tuple[Slug, ...] = Field(min_length=2, max_length=12)
    moved: Literal["top", "by_hand"] = "top"


class Pin(Frozen):
    """Where a sensor is read: connector, row and number as printed on it.

    `made_reads` low: the module pulls the pin up and the contact pulls it to ground. High: the contact feeds it.
    `bands` (angle sensor): place of the watched axis -> [low, high] as shares of the supply.
    """

    connector: Code
    row: Annotated[str, StringConstraints(pattern=r"^[A-Z]$")]
    number: int = Field(ge=1, le=99)
    colours: tuple[Colour, ...] = Field(min_length=1, max_length=3)
    area_mm2: float = Field(gt=0, le=35)
    length_m: float = Field(gt=0, le=20)
    made_reads: Literal["low", "high"] = "low"
    bands: dict[str, tuple[float, float]] | None = None

    @property
    def label(self) -> str:
        return f"{self.connector}/{self.row}{self.number}"


class Condition(Frozen):
    """A condition over axes. Exactly one of: `at` (every axis stands in one of the places), `any`, `all`, `not`."""

    at: dict[str, Places] | None = None
    any: tuple["Condition", ...] | None = None
    all: tuple["Condition", ...] | None = None
    negated: "Condition | None" = Field(default=None, alias="not")

    def holds(self, pose: Mapping[str, str]) -> bool:
        if self.at is not None:
            return all(pose[axis] in places for axis, places in self.at.items())
        if self.any is not None:
            return any(one.holds(pose) for one in self.any)
        if self.all is not None:
            return all(one.holds(pose) for one in self.all)
        assert self.negated is not None  # noqa: S101 - the validator guarantees one branch
        return not self.negated.holds(pose)

    def axes(self) -> frozenset[str]:
        if self.at is not None:
            return frozenset(self.at)
        inner = self.any or self.all or ((self.negated,) if self.negated else ())
        return frozenset().union(*(one.axes() for one in inner))


class Position(Frozen):
    """One place where something is mounted. `place` is where on the car, `minutes` what reaching it from outside takes.

    Sensors have a `pin`; switches and Hall sensors `made_when`; an angle sensor `watches` an axis; a control switch is
    moved by hand and has neither. A switch without a pin of its own is wired `in_series_with` the one that has it: that
    pin reads made only while both contacts are made.
    """

    kind: Kind
    name: Name
    place: Name
    minutes: float = Field(gt=0, le=600)
    part: Annotated[str, StringConstraints(min_length=1, max_length=40)]
    pin: Pin | None = None
    made_when: Condition | None = None
    watches: str | None = None
    in_series_with: Code | None = None
    bore_mm: float | None = Field(default=None, gt=0)
    rod_mm: float | None = Field(default=None, gt=0)
    stroke_mm: float | None = Field(default=None, gt=0)
    cautions: tuple[Caution, ...] = ()


class Module(Frozen):
    """The control module as a place to measure: thresholds are shares of the supply voltage at the module."""

    position: Code
    minutes: float = Field(gt=0, le=600)
    low_share: float = Field(default=0.30, gt=0, lt=1)
    high_share: float = Field(default=0.70, gt=0, lt=1)
    pull_up_ohm: float = Field(gt=0)


Reported = Annotated[str, StringConstraints(min_length=1)]
"""What a sensor must report: `made`, `released`, or a place for an angle sensor."""


class Step(Frozen):
    """One stretch of a motion as the module sees it: `seconds` is usual, after `limit_seconds` the module gives up."""

    name: Slug
    title: Name
    moves: dict[str, tuple[str, str]] = Field(min_length=1)
    driven_by: tuple[Code, ...] = Field(min_length=1)
    starts_when: dict[Code, Reported] = Field(default_factory=dict)
    ends_when: dict[Code, Reported] = Field(min_length=1)
    seconds: tuple[float, float]
    limit_seconds: float = Field(gt=0)
    lamp: Lamp = "flashing"


class Motion(Frozen):
    """A whole motion, from one resting pose to another, commanded by a control switch that must be held."""

    title: Name
    command: Code
    start: str
    end: str
    steps: tuple[Step, ...] = Field(min_length=1, max_length=40)


class Fluid(Frozen):
    """`viscosity`: two points (°C, mm²/s), between and beyond which it follows Walther (ASTM D341)."""

    name: Name
    density_kg_m3: float = Field(ge=500, le=1500)
    viscosity: tuple[tuple[float, float], tuple[float, float]]


class Pump(Frozen):
    """Flow at the nominal supply, and the pressure at which the relief valve opens."""

    position: Code
    flow_l_min: float = Field(gt=0, le=50)
    relief_bar: float = Field(gt=0, le=400)


class Lines(Frozen):
    """The longest way of the fluid, there and back taken as one line."""

    length_m: float = Field(gt=0, le=50)
    bore_mm: float = Field(gt=0, le=25)


class HoldTest(Frozen):
    """The usual pressure hold: from `test_bar`, after `seconds`, at most `usual_loss_bar` less."""

    test_bar: float = Field(gt=0, le=400)
    seconds: float = Field(ge=10, le=3600)
    usual_loss_bar: float = Field(gt=0, le=400)


class Hydraulics(Frozen):
    fluid: Fluid
    pump: Pump
    lines: Lines
    hold: HoldTest


class TopSystem(Frozen):
    """A declared top system. `poses` are the resting poses; `motions` has at least `open` and `close`."""

    system: Slug
    title: Name
    kind: Literal["retractable-hardtop", "soft-top"]
    revision: int = Field(ge=1)
    supply_v: float = Field(gt=0)
    module: Module
    axes: dict[Slug, Axis] = Field(min_length=1, max_length=40)
    poses: dict[Slug, dict[str, str]] = Field(min_length=2, max_length=40)
    positions: dict[Code, Position] = Field(min_length=1, max_length=200)
    motions: dict[Literal["open", "close"], Motion]
    hydraulics: Hydraulics | None = None
    drawing: Drawing | None = None
    inspection: InspectionRules | None = None

    def sensors(self) -> dict[str, Position]:
        """Positions that are read at a pin, in the order of their pins in the connector."""
        found = {code: p for code, p in self.positions.items() if p.kind in SENSORS and p.pin is not None}
        return dict(sorted(found.items(), key=lambda item: _pin_order(item[1])))

    def wired(self) -> dict[str, Position]:
        """Positions whose state reaches a pin: every sensor, and behind it the twin that is wired in series with it."""
        found: dict[str, Position] = {}
        twins = {p.in_series_with: code for code, p in self.positions.items() if p.in_series_with is not None}
        for code, position in self.sensors().items():
            found[code] = position
            if code in twins:
                found[twins[code]] = self.positions[twins[code]]
        return found

    def step_names(self, motion: str) -> tuple[str, ...]:
        return tuple(step.name for step in self.motions[motion].steps)  # type: ignore[index]


def _pin_order(position: Position) -> tuple[str, str, int]:
    pin = position.pin
    assert pin is not None  # noqa: S101 - called for sensors with a pin only
    return pin.connector, pin.row, pin.number
