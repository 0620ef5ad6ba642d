"""A case: what is known of one car when its suspects are asked for. The shape of a case file and of a sheet's
entries.

Shapes and plain bounds here; whether an observation fits its system (known position, pose, step) is `check_case`.
"""

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, TypeAdapter, ValidationError

from diagnostics.engine.errors import CaseError
from diagnostics.engine.motion import pose_of
from diagnostics.engine.poses import Pose
from diagnostics.engine.system.model import Lamp, TopSystem
from diagnostics.engine.system.sentences import words_of
from diagnostics.engine.words import _

Month = Annotated[str, StringConstraints(pattern=r"^\d{4}-(0[1-9]|1[0-2])$")]
Day = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}-\d{2}$")]
Volts = Annotated[float, Field(ge=-50, le=100, allow_inf_nan=False)]
Bar = Annotated[float, Field(ge=0, le=400, allow_inf_nan=False)]
OilC = Annotated[float, Field(ge=-40, le=120, allow_inf_nan=False)]


class Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Observed(Frozen):
    """`after_work`: made after work on that path; only such observations count for its proof."""

    after_work: bool = False


class PinReading(Observed):
    """Volts at the module's pin to ground in a pose, and the supply there. `ignition` false: no evidence, with the
    reason."""

    check: Literal["pin"]
    position: str
    pose: Pose
    volts: Volts
    supply_volts: Volts | None = None
    ignition: bool = True


class PinByHand(Observed):
    """Volts at the module's pin while the switch is pressed, and let go. Of two switches in series on the pin the other
    one is held pressed by hand all the time."""

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
    """Ohms of the wire from the module's pin to the plug at the position; null: open. Of the second switch on a pin
    that is the link wire, from the plug of the first to its own."""

    check: Literal["continuity"]
    position: str
    ohms: Annotated[float, Field(ge=0, allow_inf_nan=False)] | None


class MotionTrial(Observed):
    """A whole motion tried: the step that did not start or did not end (null: it ran), lamp, seconds by step that
    ended. `oil_c`: temperature of the hydraulic fluid, where it was measured. `stands`: where axes that the top moves
    were seen to stand afterwards (a place, or `between`); of an axis that is not named nobody says anything."""

    check: Literal["motion"]
    motion: Literal["open", "close"]
    stops_at: str | None
    lamp: Lamp | None = None
    seconds: dict[str, Annotated[float, Field(gt=0, le=3600)]] = Field(default_factory=dict)
    oil_c: OilC | None = None
    stands: dict[str, str] | None = None


class Look(Observed):
    """A look at a position: a fault mode of it, a finding in words, or `nothing`."""

    check: Literal["look"]
    position: str
    found: Annotated[str, StringConstraints(min_length=1, max_length=120)]


class PressureHold(Observed):
    """A cylinder or the pump under pressure and shut off: bar at the start, and after `seconds`. `oil_c` as in a motion
    trial."""

    check: Literal["pressure-hold"]
    position: str
    bar_start: Annotated[Bar, Field(gt=0)]
    bar_end: Bar
    seconds: Annotated[float, Field(gt=0, le=3600, allow_inf_nan=False)]
    oil_c: OilC | None = None


class Battery(Observed):
    """Open-circuit volts of the battery, at rest."""

    check: Literal["battery"]
    volts: Volts


Observation = Annotated[
    PinReading | PinByHand | Click | Wiggle | Continuity | MotionTrial | Look | PressureHold | Battery,
    Field(discriminator="check"),
]
_CHECKS = frozenset(
    {"pin", "pin-by-hand", "click", "wiggle", "continuity", "motion", "look", "pressure-hold", "battery"}
)


class CaseCar(Frozen):
    made_on: Month
    climate: Literal["hot", "temperate", "cold"] = "temperate"


class Complaint(Frozen):
    """What a customer tells of a top that stops. Beside the step and the lamp, only what a layman can tell.

    `sound`: whether a pump or motor was heard when it stopped. `comes_and_goes`: not every time. `battery_weak`: weak,
    or the car stood for long. `neither_way`: the other motion fails as well.
    """

    motion: Literal["open", "close"]
    stops_at: str
    lamp: Lamp | None = None
    sound: Literal["runs", "silent"] | None = None
    comes_and_goes: bool | None = None
    battery_weak: bool | None = None
    neither_way: bool = False


MOST_OBSERVATIONS = 10_000
HELD = frozenset({"cylinder", "pump"})
"""Kinds of position that can be put under pressure and shut off."""


class Case(Frozen):
    """`recent_work`: positions worked on shortly before the car came, or between its entries. `renewed`: those of work
    between entries alone (null: not told apart, so all of `recent_work`); only of these is the state from before gone.
    """

    system: str
    car: CaseCar
    seen_on: Day
    complaint: Complaint | None = None
    recent_work: tuple[str, ...] = ()
    renewed: tuple[str, ...] | None = None
    observations: tuple[Observation, ...] = Field(default=(), max_length=MOST_OBSERVATIONS)


_OBSERVATION: TypeAdapter[Observation] = TypeAdapter(Observation)


def observation_of(data: Any) -> Observation:
    """One entry, as in a case file or in the row of a check. Raises pydantic's ValidationError."""
    return _OBSERVATION.validate_python(data)


def parse_case(data: Any) -> Case:
    """`data` (decoded JSON) as a Case; raises CaseError with the place of the first mistake."""
    try:
        return Case.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        path = tuple(str(part) for part in first["loc"])
        raise CaseError(f"{_place_of(path)}: {words_of(first, path)}") from error


def _place_of(path: tuple[str, ...]) -> str:
    """Where in the case: `car.made_on`, or `observation 2, volts` (counted from 1, as people do)."""
    if path[:1] == ("observations",) and len(path) > 1:
        inside = path[3:] if path[2:3] and path[2] in _CHECKS else path[2:]
        return ", ".join([_("observation {number}").format(number=int(path[1]) + 1), *inside])
    return ".".join(path) or _("the case")


def check_case(system: TopSystem, case: Case) -> None:
    """Whether the case can be one of a car with this system. Raises CaseError: one sentence with the entry's number."""
    made, seen = case.car.made_on, case.seen_on
    try:
        date.fromisoformat(seen)
    except ValueError as error:
        raise CaseError(_("seen_on: there is no day {day}.").format(day=seen)) from error
    if made > seen[:7]:
        words = _("The car was seen on {seen}, before it was made in {made}.")
        raise CaseError(words.format(seen=seen, made=made))
    for code in case.recent_work:
        _check_position(system, code, _("recent_work"))
    for code in case.renewed or ():
        _check_position(system, code, _("renewed"))
    if case.complaint is not None:
        _check_step(system, case.complaint.motion, case.complaint.stops_at, _("complaint"))
    for number, observation in enumerate(case.observations, start=1):
        check_observation(system, observation, _("observation {number}").format(number=number))


def check_observation(system: TopSystem, observation: Observation, where: str) -> None:
    """Whether one observation fits the system; `where` opens the sentence of the CaseError."""
    if isinstance(observation, Battery):
        return
    if isinstance(observation, MotionTrial):
        for step in (observation.stops_at, *observation.seconds):
            if step is not None:
                _check_step(system, observation.motion, step, where)
        _check_stands(system, observation.stands or {}, where)
        return
    _check_position(system, observation.position, where)
    if isinstance(observation, PressureHold):
        _check_hold(system, observation, where)
    first = system.positions[observation.position].in_series_with
    if isinstance(observation, PinReading) and first is not None:
        words = _(
            "{where}: {position} has no pin of its own; read {first}, whose pin is made only while both are made."
        )
        raise CaseError(words.format(where=where, position=observation.position, first=first))
    if observation.check not in checks_of(system, observation.position):
        words = _("{where}: the check “{check}” cannot be made at {position}, which is a {kind}.")
        kind = system.positions[observation.position].kind
        raise CaseError(words.format(where=where, check=observation.check, position=observation.position, kind=kind))
    if isinstance(observation, PinReading):
        try:
            pose_of(system, observation.pose)
        except CaseError as error:
            raise CaseError(f"{where}: {error}") from error


def position_of(system: TopSystem, observation: Observation) -> str:
    """The position that an observation speaks of: the supply for a battery reading, '' for a motion trial."""
    if isinstance(observation, MotionTrial):
        return ""
    if isinstance(observation, Battery):
        return next((code for code, position in system.positions.items() if position.kind == "supply"), "")
    return observation.position


def checks_of(system: TopSystem, position: str) -> frozenset[str]:
    """The kinds of check that a position can have (motion trial and battery belong to no position)."""
    place = system.positions[position]
    if place.kind in HELD and system.hydraulics is not None:
        return frozenset({"look", "pressure-hold"})
    if place.in_series_with is not None:
        return frozenset({"look", "pin-by-hand", "click", "wiggle", "continuity"})
    if place.pin is None:
        return frozenset({"look"})
    if place.kind == "angle-sensor":
        return frozenset({"look", "pin", "wiggle", "continuity"})
    if place.kind == "hall-sensor":
        return frozenset({"look", "pin", "pin-by-hand", "wiggle", "continuity"})
    return frozenset({"look", "pin", "pin-by-hand", "click", "wiggle", "continuity"})


def _check_position(system: TopSystem, code: str, where: str) -> None:
    if code not in system.positions:
        words = _("{where}: the system {system} has no position {position}.")
        raise CaseError(words.format(where=where, system=system.system, position=code))


def _check_hold(system: TopSystem, observation: PressureHold, where: str) -> None:
    if system.hydraulics is None:
        words = _("{where}: the system file declares no hydraulics, so nothing says what a pressure hold may lose.")
        raise CaseError(words.format(where=where))
    if observation.bar_end > observation.bar_start:
        words = _(
            "{where}: {end:g} bar at the end are more than the {start:g} bar at the start. A shut volume gains no "
            "pressure but by warming: let it settle, then hold again."
        )
        raise CaseError(words.format(where=where, start=observation.bar_start, end=observation.bar_end))


def _check_stands(system: TopSystem, stands: dict[str, str], where: str) -> None:
    try:
        pose_of(system, stands)
    except CaseError as error:
        raise CaseError(f"{where}: {error}") from error
    by_hand = [axis for axis in stands if system.axes[axis].moved == "by_hand"]
    if by_hand:
        words = _("{where}: the axis {axis} is moved by hand, so where it stands tells nothing of a motion.")
        raise CaseError(words.format(where=where, axis=by_hand[0]))


def _check_step(system: TopSystem, motion: str, step: str, where: str) -> None:
    known = system.step_names(motion)
    if step not in known:
        words = _("{where}: the motion “{motion}” has no step “{step}”; it has: {known}.")
        raise CaseError(words.format(where=where, motion=motion, step=step, known=", ".join(known)))
