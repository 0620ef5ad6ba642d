"""The proof plan: the fewest stands and hand actuations in which everything that is still open can be seen at the pins.

A *stand* is a pose in which the top is held still while pins are read: a resting pose, one with something moved by
hand, or a motion stopped between two steps by letting its control switch go. A *hand actuation* shows one switch both
made and released. Each counts one; of plans with the same count the one with fewer minutes is taken (reach, stops and
hand moves; the motions themselves run in any plan). The plan is exact: a search over what is still open with memory,
which for a top of 25 positions looks at some thousand states.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from diagnostics.engine.case import checks_of
from diagnostics.engine.motion import MADE, RELEASED, fault_free, pin_state, pose_of
from diagnostics.engine.proof import shown_by_hand, shown_in, trigger_brings
from diagnostics.engine.sitting import HAND_MINUTES, REACHED_MINUTES, motion_minutes
from diagnostics.engine.system.model import BETWEEN, TopSystem

READ_MINUTES = 0.5
"""Reading one more pin with the meter at the connector: common practice, no source."""
STOP_MINUTES = 1.0
"""Stopping a motion between two steps, and going on: common practice, no source."""
Item = tuple[str, str]
"""A sensor and a state of it (for an angle sensor a place) that can be seen."""


@dataclass(frozen=True, slots=True)
class Stand:
    """Where the top is held still. `anchor`: the resting pose, with what is moved `by_hand` from there; '' within a
    motion, which is stopped after `after_step` (a number from 0)."""

    pose: Mapping[str, str]
    anchor: str = ""
    by_hand: Mapping[str, str] | None = None
    motion: str = ""
    after_step: int = -1

    @property
    def minutes(self) -> float:
        return STOP_MINUTES if self.motion else HAND_MINUTES * len(self.by_hand or {})


@dataclass(frozen=True, slots=True)
class Stop:
    """One stand of the plan with what to read there: (sensor with the pin, what the pin must show).

    `runs`: how many of the plan's motions have run to their end when the top comes here.
    """

    stand: Stand
    runs: int
    reads: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class ProofPlan:
    """`stops` in the order in which the top comes to them, `hands`: sensors to actuate by hand, by place. `motions`:
    runs in order, each from one resting pose to the other. `out_of_reach`: what no stand and no hand shows."""

    stops: tuple[Stop, ...]
    hands: tuple[str, ...]
    motions: tuple[str, ...]
    out_of_reach: tuple[Item, ...]
    minutes: float

    @property
    def count(self) -> int:
        return len(self.stops) + len(self.hands)

    @property
    def is_empty(self) -> bool:
        return not self.count and not self.out_of_reach


@dataclass(frozen=True, slots=True)
class _Option:
    """A stand (its number) or a hand actuation (the sensor), with all that it shows."""

    stand: int
    hand: str
    shows: frozenset[Item]
    minutes: float


Goal = tuple[str, int, frozenset[str]]
"""What is open at one sensor: how many more different states, and which ones would count."""
Left = frozenset[Goal]


def proof_plan(
    system: TopSystem, seen: Mapping[str, Collection[str]], *, here: str = "", not_by_hand: Collection[str] = ()
) -> ProofPlan:
    """The plan for a car.

    `seen`: sensor -> states (places of an angle sensor) that count as seen already. `here`: the resting pose that the
    top stands in, '' for the first. `not_by_hand`: sensors that a hand does not prove (the trigger was adjusted).
    Raises CaseError for a pose that is none.
    """
    here = here or next(iter(system.poses))
    pose_of(system, here)
    stands = stands_of(system)
    options = _options(system, stands, not_by_hand)
    left = goals_of(system, seen)
    reachable = frozenset(_reachable(goal, options) for goal in left)
    open_now = frozenset(goal for goal in reachable if goal[1])
    chosen = _Search(options).best(open_now)
    hands = sorted((one.hand for one in chosen if one.hand), key=lambda code: (system.positions[code].place, code))
    route, order = _route(system, [stands[one.stand] for one in chosen if not one.hand], here)
    by_hand = frozenset().union(*(one.shows for one in chosen if one.hand))
    stops = _stops(system, order, _without(open_now, by_hand))
    return ProofPlan(
        stops=stops,
        hands=tuple(hands),
        motions=route,
        out_of_reach=_out_of_reach(left, reachable),
        minutes=_minutes(system, stops, hands, route),
    )


def rest_of(system: TopSystem, pose: Mapping[str, str]) -> str:
    """The resting pose that a top in `pose` is in but for what is moved by hand; '' where it stands half way."""
    top = [axis for axis, declared in system.axes.items() if declared.moved == "top"]
    return next((name for name, rest in system.poses.items() if all(rest[axis] == pose[axis] for axis in top)), "")


def stands_of(system: TopSystem) -> tuple[Stand, ...]:
    """Every different stand of a top, those at rest first."""
    anchors = dict.fromkeys(pose for motion in system.motions.values() for pose in (motion.start, motion.end))
    found = [Stand(pose_of(system, name), anchor=name) for name in anchors]
    for name in anchors:
        rest = pose_of(system, name)
        for axis, declared in system.axes.items():
            if declared.moved == "by_hand":
                others = [place for place in declared.places if place != rest[axis]]
                found += [Stand(rest | {axis: place}, name, by_hand={axis: place}) for place in others]
    for name in system.motions:
        traces = fault_free(system, name)[:-1]
        found += [Stand(trace.after, motion=name, after_step=number) for number, trace in enumerate(traces)]
    different: dict[tuple[tuple[str, str], ...], Stand] = {}
    for stand in found:
        different.setdefault(tuple(sorted(stand.pose.items())), stand)
    return tuple(different.values())


def _options(system: TopSystem, stands: tuple[Stand, ...], not_by_hand: Collection[str]) -> tuple[_Option, ...]:
    found = [
        _Option(number, "", frozenset().union(*read_in(system, stand.pose).values()), stand.minutes)
        for number, stand in enumerate(stands)
    ]
    barred = {(code, state) for code in not_by_hand for state in trigger_brings(system, code)}
    for code, position in system.wired().items():
        shows = frozenset(shown_by_hand(system, code)) - barred
        if shows and "pin-by-hand" in checks_of(system, code):
            found.append(_Option(-1, code, shows, position.minutes))
    return tuple(found)


def read_in(system: TopSystem, pose: Mapping[str, str]) -> dict[str, frozenset[Item]]:
    """Sensor with a pin -> what a good reading of that pin in `pose` shows; only pins that show something."""
    shown = {
        code: frozenset(item for item in shown_in(system, code, pose) if item[1] != BETWEEN)
        for code in system.sensors()
    }
    return {code: items for code, items in shown.items() if items}


def goals_of(system: TopSystem, seen: Mapping[str, Collection[str]]) -> Left:
    """What is still open: both states of a contact, two different places of an angle sensor."""
    goals = set()
    for code, position in system.wired().items():
        known = frozenset(seen.get(code, ()))
        possible = frozenset(system.axes[position.watches].places if position.watches else (MADE, RELEASED))
        if len(known) < 2:
            goals.add((code, 2 - len(known), possible - known))
    return frozenset(goals)


def _reachable(goal: Goal, options: tuple[_Option, ...]) -> Goal:
    code, missing, states = goal
    shown = frozenset(state for state in states if any((code, state) in option.shows for option in options))
    return code, min(missing, len(shown)), shown


def _out_of_reach(left: Collection[Goal], reachable: Left) -> tuple[Item, ...]:
    reach = {code: (missing, states) for code, missing, states in reachable}
    short = [(code, states) for code, missing, states in left if reach[code][0] < missing]
    return tuple(sorted((code, state) for code, states in short for state in states - reach[code][1]))


class _Search:
    """Depth first with memory: the best way on from what is left depends on nothing else."""

    def __init__(self, options: tuple[_Option, ...]) -> None:
        self._options = options
        self._known: dict[Left, tuple[int, float, tuple[_Option, ...]]] = {}

    def best(self, left: Left) -> tuple[_Option, ...]:
        return self._best(left)[2]

    def _best(self, left: Left) -> tuple[int, float, tuple[_Option, ...]]:
        if not left:
            return 0, 0.0, ()
        if left not in self._known:
            self._known[left] = min(
                (self._with(option, left) for option in self._for(self._narrowest(left))), key=lambda way: way[:2]
            )
        return self._known[left]

    def _with(self, option: _Option, left: Left) -> tuple[int, float, tuple[_Option, ...]]:
        count, minutes, rest = self._best(_without(left, option.shows))
        return count + 1, minutes + option.minutes, (option, *rest)

    def _narrowest(self, left: Left) -> Goal:
        """Some option must show it, so only its options need to be tried: best one with few."""
        return min(left, key=lambda goal: (len(self._for(goal)), goal[0]))

    def _for(self, goal: Goal) -> list[_Option]:
        return [option for option in self._options if any((goal[0], state) in option.shows for state in goal[2])]


def _without(left: Left, shows: Collection[Item]) -> Left:
    still = set()
    for code, missing, states in left:
        met = frozenset(state for state in states if (code, state) in shows)
        if missing > len(met):
            still.add((code, missing - len(met), states - met))
    return frozenset(still)


def _route(system: TopSystem, wanted: list[Stand], here: str) -> tuple[tuple[str, ...], list[tuple[int, Stand]]]:
    """The motions to run one after the other from `here`, and the stands in the order in which the top comes to them,
    each with the number of motions that have run by then."""
    runs: list[str] = []
    order: list[tuple[int, Stand]] = []
    left, pose = wanted, here
    # Each motion once and back again passes every stand there is.
    for run in range(2 * len(system.motions)):
        order += [(run, stand) for stand in left if stand.anchor == pose]
        left = [stand for stand in left if stand.anchor != pose]
        motion = next((name for name, one in system.motions.items() if one.start == pose), None)
        if not left or motion is None:
            break
        runs.append(motion)
        passed = [stand for stand in left if stand.motion == motion]
        order += [(run, stand) for stand in sorted(passed, key=lambda stand: stand.after_step)]
        left = [stand for stand in left if stand.motion != motion]
        pose = system.motions[motion].end
    return tuple(runs), order


def _stops(system: TopSystem, order: list[tuple[int, Stand]], left: Left) -> tuple[Stop, ...]:
    """What to read at each stand: the pins that show something which is still open when the top comes there."""
    stops = []
    for runs, stand in order:
        wanted = {(code, state) for code, _missing, states in left for state in states}
        shown = {code: items for code, items in read_in(system, stand.pose).items() if items & wanted}
        left = _without(left, frozenset().union(*shown.values()))
        reads = tuple((code, pin_state(system, code, stand.pose)) for code in shown)
        stops.append(Stop(stand, runs, reads))
    return tuple(stop for stop in stops if stop.reads)


def _minutes(system: TopSystem, stops: tuple[Stop, ...], hands: list[str], route: tuple[str, ...]) -> float:
    reading = sum(stop.stand.minutes + READ_MINUTES * len(stop.reads) for stop in stops)
    places: set[str] = set()
    reaching = 0.0
    for code in hands:
        position = system.positions[code]
        reaching += REACHED_MINUTES if position.place in places else position.minutes
        places.add(position.place)
    return reading + reaching + READ_MINUTES * 2 * len(hands) + sum(motion_minutes(system, run) for run in route)
