"""The proof plan in words: what to bring the top to, which pins to read there and what they must show, in the order of
work. One content for the page and for the paper."""

from collections.abc import Mapping
from dataclasses import dataclass

from diagnostics.engine.cautions import ORDER, caution_words
from diagnostics.engine.motion import MADE, RELEASED
from diagnostics.engine.poses import place_words, places_words, plain
from diagnostics.engine.proof_plan import Item, ProofPlan, Stand, Stop
from diagnostics.engine.system.model import Caution, Pin, Position, TopSystem
from diagnostics.engine.system.series import at_pin, partner_of, path_of, pin_of
from diagnostics.engine.words import _


@dataclass(frozen=True, slots=True)
class Reading:
    """One pin to read. `state`: made | released | a place; `due`: the volts that mean it."""

    code: str
    name: str
    pin: Pin
    state: str
    due: str

    @property
    def state_words(self) -> str:
        return place_words(self.state)


@dataclass(frozen=True, slots=True)
class PoseToRead:
    """`moves`: what brings the top here, in order. `pose` as an entry carries it (axis -> place)."""

    moves: tuple[str, ...]
    pose: Mapping[str, str]
    half_way: bool
    readings: tuple[Reading, ...]


@dataclass(frozen=True, slots=True)
class ByHand:
    """One switch to press and let go while its pin is read. `hold`: the one beside it to hold pressed meanwhile, or
    ''."""

    code: str
    name: str
    place: str
    pin: Pin
    pressed: str
    released: str
    hold: str


@dataclass(frozen=True, slots=True)
class BenchList:
    """`poses` and `by_hand` in the order of work; `finish`: what is left to move after the last pose.

    `out_of_reach` and `owed`: sentences. `half_way_start`: the top stands half way now and must be brought to rest
    first.
    """

    poses: tuple[PoseToRead, ...]
    finish: tuple[str, ...]
    by_hand: tuple[ByHand, ...]
    out_of_reach: tuple[str, ...]
    owed: tuple[str, ...]
    cautions: tuple[str, ...]
    minutes: float
    half_way_start: bool = False

    @property
    def count(self) -> int:
        return len(self.poses) + len(self.by_hand)


def due_volts(system: TopSystem, position: Position, state: str, supply: float) -> str:
    """The volts at the pin that mean `state`, in words; '' where no single range does. `supply` in volts."""
    pin = position.pin
    if pin is not None and pin.bands is not None:
        band = pin.bands.get(state)
        return _("{low:.1f} to {high:.1f} V").format(low=band[0] * supply, high=band[1] * supply) if band else ""
    low = (state == MADE) == (pin is None or pin.made_reads == "low")
    share = system.module.low_share if low else system.module.high_share
    return (_("under {volts:.1f} V") if low else _("over {volts:.1f} V")).format(volts=share * supply)


def bench_list(
    system: TopSystem,
    plan: ProofPlan,
    *,
    supply: float,
    half_way: bool = False,
    owed: tuple[str, ...] = (),
) -> BenchList:
    """The plan as a list to work off. `supply` in volts; `half_way`: the top stands half way now; `owed`: sentences of
    what no pin proves."""
    way, poses = _Way(system, plan.motions), []
    for stop in plan.stops:
        readings = tuple(_reading(system, item, supply) for item in stop.reads)
        poses.append(PoseToRead(way.to(stop), stop.stand.pose, bool(stop.stand.motion), readings))
    by_hand = tuple(_by_hand(system, code, supply) for code in plan.hands)
    missing = tuple(_out_of_reach(system, item) for item in plan.out_of_reach)
    return BenchList(tuple(poses), way.end(), by_hand, missing, owed, _cautions(system, plan), plan.minutes, half_way)


class _Way:
    """How far the plan's motions have come, and what a hand has moved, while the list is worked off."""

    def __init__(self, system: TopSystem, runs: tuple[str, ...]) -> None:
        self._system, self._runs = system, runs
        self._done, self._stopped = 0, False
        self._moved: dict[str, str] = {}

    def to(self, stop: Stop) -> tuple[str, ...]:
        """The moves from the stand before to this one."""
        moves = self._put_back()
        while self._done < stop.runs:
            moves.append(self._run_on())
        stand = stop.stand
        if stand.motion:
            self._stopped = True
        if stand.by_hand:
            rest = self._system.poses[stand.anchor]
            self._moved = {axis: rest[axis] for axis in stand.by_hand}
        return (*moves, self._stand_words(stand))

    def end(self) -> tuple[str, ...]:
        moves = self._put_back()
        return tuple([*moves, self._run_on()] if self._stopped else moves)

    def _put_back(self) -> list[str]:
        moved, self._moved = self._moved, {}
        return [_("Put back by hand: {places}.").format(places=places_words(self._system, moved))] if moved else []

    def _run_on(self) -> str:
        title = self._system.motions[self._runs[self._done]].title  # type: ignore[index]
        words = _("Go on with “{motion}” to its end.") if self._stopped else _("Run “{motion}” to its end.")
        self._done, self._stopped = self._done + 1, False
        return words.format(motion=title)

    def _stand_words(self, stand: Stand) -> str:
        if stand.motion:
            motion = self._system.motions[stand.motion]  # type: ignore[index]
            step = motion.steps[stand.after_step]
            words = _("“{motion}”: let the switch go when step {number} is over: {step}. Prop what could drop.")
            return words.format(motion=motion.title, number=stand.after_step + 1, step=step.title)
        if stand.by_hand:
            words = _("Top {pose}, moved by hand: {places}.")
            return words.format(pose=plain(stand.anchor), places=places_words(self._system, stand.by_hand))
        return _("Top {pose}.").format(pose=plain(stand.anchor))


def _reading(system: TopSystem, item: Item, supply: float) -> Reading:
    code, state = item
    position = system.positions[code]
    assert position.pin is not None  # noqa: S101 - only pins are read
    return Reading(code, position.name, position.pin, state, due_volts(system, position, state, supply))


def _by_hand(system: TopSystem, code: str, supply: float) -> ByHand:
    position = system.positions[code]
    first = system.positions[at_pin(system, code)]
    other = partner_of(system, code)
    return ByHand(
        code=code,
        name=position.name,
        place=position.place,
        pin=pin_of(system, code),
        pressed=due_volts(system, first, MADE, supply),
        released=due_volts(system, first, RELEASED, supply),
        hold=f"{other} {system.positions[other].name}" if other else "",
    )


def _out_of_reach(system: TopSystem, item: Item) -> str:
    code, state = item
    words = _("{code} {name}: no pose and no hand shows it {state}.")
    return words.format(code=code, name=system.positions[code].name, state=plain(state))


def _cautions(system: TopSystem, plan: ProofPlan) -> tuple[str, ...]:
    """What the whole list brings with it, the gravest first."""
    there: set[Caution] = {"ignition"}
    if plan.motions:
        there |= {"pinch"}
    if any(stop.stand.motion for stop in plan.stops):
        there |= {"prop"}
    for code in plan.hands:
        there |= {caution for one in path_of(system, code) for caution in system.positions[one].cautions}
    words = [caution_words(caution) for caution in ORDER if caution in there]
    return (*words, _("Local rules and licensed practice come first.")) if plan.count else ()
