"""A case: what is known of one car when its suspects are asked for. The shape of a case file and of a sheet's entries.

Shapes and plain bounds here; whether an observation fits its system (known position, pose, step) is `check_case`.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from diagnostics.engine.system.model import Lamp

Month = Annotated[str, StringConstraints(pattern=r"^\d{4}-(0[1-9]|1[0-2])$")]
Day = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}-\d{2}$")]
Volts = Annotated[float, Field(ge=-50, le=100, allow_inf_nan=False)]
Pose = str | dict[str, str]


class Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Observed(Frozen):
    """`after_work`: made after work on that path; only such observations count for its proof."""

    after_work: bool = False


class PinReading(Observed):
    """Volts at the module's pin to ground in a pose, and the supply there. `ignition` false: no evidence, with the reason."""

    check: Literal["pin"]
    position: str
    pose: Pose
    volts: Volts
    supply_volts: Volts | None = None
    ignition: bool = True


class PinByHand(Observed):
    check: Literal["pin-by-hand"]
    position: str
    pressed_volts: Volts
    released_volts: Volts
    supply_volts: Volts | None = None
    ignition: bool = True


class Click(Observed):
    check: Literal["click"]
    position: str
    heard: bool


class Wiggle(Observed):
    check: Literal["wiggle"]
    position: str
    steady: bool


class Continuity(Observed):
    """Ohms of the wire from the module's pin to the plug at the position; null: open."""

    check: Literal["continuity"]
    position: str
    ohms: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None


class MotionTrial(Observed):
    """A whole motion tried: the step that did not start or did not end (null: it ran), lamp, seconds by step that ended."""

    check: Literal["motion"]
    motion: Literal["open", "close"]
    stops_at: str | None
    lamp: Lamp | None = None
    seconds: dict[str, Annotated[float, Field(gt=0, le=3600)]] = Field(default_factory=dict)


class Look(Observed):
    """A look at a position: a fault mode of it, a finding in words, or `nothing`."""

    check: Literal["look"]
    position: str
    found: Annotated[str, StringConstraints(min_length=1, max_length=120)]


class Battery(Observed):
    """Open-circuit volts of the battery, at rest."""

    check: Literal["battery"]
    volts: Volts


Observation = Annotated[
    PinReading | PinByHand | Click | Wiggle | Continuity | MotionTrial | Look | Battery, Field(discriminator="check")
]


class CaseCar(Frozen):
    made_on: Month
    climate: Literal["hot", "temperate", "cold"] = "temperate"


class Complaint(Frozen):
    motion: Literal["open", "close"]
    stops_at: str
    lamp: Lamp | None = None


class Case(Frozen):
    system: str
    car: CaseCar
    seen_on: Day
    complaint: Complaint | None = None
    recent_work: tuple[str, ...] = ()
    observations: tuple[Observation, ...] = Field(default=(), max_length=10_000)


class CaseError(ValueError):
    """A case that cannot be: one clear sentence of what, where and what was expected."""


def parse_case(data: Any) -> Case:
    """`data` (decoded JSON) as a Case; raises CaseError with the place of the first mistake."""
    from pydantic import ValidationError

    try:
        return Case.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the case"
        raise CaseError(f"{where}: {first['msg']}") from error
