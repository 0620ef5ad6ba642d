"""What a set of faults at one position shows: small distributions over the tokens of each check. Pure functions of
modes.

`modes` is the set of modes present at the position (for a sensor: its own and, as `input-dead`, its input of the
module). `due` is what a sound sensor would report: made | released, or for an angle sensor a place or `between`.

Two switches in series on one pin are one site: `modes` are those of the switch that has the pin, and, marked by TWIN,
those of the other; `due` holds the states of both (`made&released`). What their pin shows is combined exactly from what
each contact would show by itself.
"""

from collections.abc import Sequence

from diagnostics.engine import observe
from diagnostics.engine.faults import PER_INPUT
from diagnostics.engine.motion import MADE, RELEASED
from diagnostics.engine.observe import Shares
from diagnostics.engine.system.model import BETWEEN, Position
from diagnostics.engine.system.series import AND

Modes = frozenset[str]
TWIN = "twin:"
"""Marks the modes of the second switch on a pin."""
BY_HAND_HEALS = frozenset({"out-of-adjustment"})
"""Moved by hand, the trigger plays no part."""


def of_twin(modes: Modes) -> Modes:
    """The modes of the second switch on the pin, by their own names."""
    return frozenset(mode.removeprefix(TWIN) for mode in modes if mode.startswith(TWIN))


def of_first(modes: Modes) -> Modes:
    """The modes of the switch that has the pin."""
    return frozenset(mode for mode in modes if not mode.startswith(TWIN))


def ruling(modes: Modes) -> str:
    """The mode that rules the pin, or ''."""
    return next((mode for mode in observe.PRECEDENCE if mode in modes), "")


def pin_shows(position: Position, modes: Modes, due: str) -> Shares:
    """Distribution over CONTACT_TOKENS or ANGLE_TOKENS at the module's pin, before any slip."""
    mode = ruling(modes)
    if position.watches is not None:
        return _angle(mode, due)
    first, _and, second = due.partition(AND)
    if not second:
        return _contact(position, mode, due)
    alone = _contact(position, ruling(of_first(modes)), first)
    if mode == "shorted-to-ground":
        return alone  # the wire is at ground before it comes to either contact
    return in_series(alone, _contact(position, ruling(of_twin(modes)), second))


def _contact(position: Position, mode: str, due: str) -> Shares:
    """What one contact with this fault shows alone. Of a twin the link wire at ground (or cut off from the feed)
    stands in for its contact."""
    assert position.pin is not None  # noqa: S101 - sensors with a pin only
    if mode == "shorted-to-ground":
        return observe.SHORTED_LOW if position.pin.made_reads == "low" else observe.SHORTED_HIGH
    if not mode:
        return observe.CONTACT_SOUND[due]
    return observe.CONTACT_SHOWS[mode][0 if due == MADE else 1]


def in_series(one: Shares, other: Shares) -> Shares:
    """Distribution over CONTACT_TOKENS at a pin behind two contacts, from what each would show alone."""
    shares = [0.0] * len(observe.CONTACT_TOKENS)
    for i, first in enumerate(observe.CONTACT_TOKENS):
        for j, second in enumerate(observe.CONTACT_TOKENS):
            both = observe.IN_SERIES.get((first, second))
            if both is None:
                shares[max(i, j)] += one[i] * other[j]
                continue
            for k, share in enumerate(both):
                shares[k] += one[i] * other[j] * share
    return tuple(shares)


def _angle(mode: str, due: str) -> Shares:
    shows = observe.ANGLE_SHOWS[mode] if mode else observe.ANGLE_SOUND
    if due != BETWEEN:
        return shows
    # On its way between places any value between the rails is right.
    return (sum(shows[:3]), 0.0, 0.0, *shows[3:])


def with_slip(shares: Sequence[float], slip: float) -> Shares:
    return tuple((1.0 - slip) * share + slip / len(shares) for share in shares)


def by_hand_shows(position: Position, modes: Modes, dues: tuple[str, str] = (MADE, RELEASED)) -> Shares:
    """Distribution over pairs (pressed token, released token), flattened, slip included. `position` has the pin;
    `dues`: what is due there pressed and let go. A twin is held pressed by hand too, so its trigger plays no part
    either."""
    at_hand = modes - BY_HAND_HEALS - {TWIN + mode for mode in BY_HAND_HEALS}
    pressed, released = (pin_shows(position, at_hand, due) for due in dues)
    return with_slip([p * r for p in pressed for r in released], observe.BY_HAND_SLIP)


def module_sees(position: Position, modes: Modes, due: str, wanted: str) -> float:
    """Chance that the module takes the sensor for `wanted` (made, released or a place) when `due` is true.

    A dead input is taken for released whatever the pin does; for an angle it stands for no place.
    """
    if PER_INPUT in modes:
        return float(wanted == RELEASED)
    shows = pin_shows(position, modes, due)
    if position.watches is not None:
        assert position.pin is not None  # noqa: S101 - validated
        assert position.pin.bands is not None  # noqa: S101 - validated
        if due == wanted:
            return shows[0]
        others = len(position.pin.bands) - 1
        return shows[1] / others if others and due != BETWEEN else 0.0
    made, weak, between, released = shows
    half = observe.BETWEEN_SEEN * between
    return made + weak + half if wanted == MADE else released + between - half


def click_heard(modes: Modes) -> float:
    return min((observe.CLICK_HEARD.get(mode, 1.0) for mode in modes), default=1.0) * observe.CLICK_SOUND


def wiggle_steady(modes: Modes) -> float:
    if "unplugged" in modes:
        return observe.WIGGLE_UNPLUGGED
    return min((observe.WIGGLE_STEADY.get(m, observe.WIGGLE_SOUND) for m in modes), default=observe.WIGGLE_SOUND)


def continuity_shows(modes: Modes) -> Shares:
    return next((shows for mode, shows in observe.CONTINUITY_SHOWS if mode in modes), observe.CONTINUITY_SOUND)


def look_shows(kind: str, known: Sequence[str], modes: Modes) -> Shares:
    """Distribution over (`nothing`, *known): a look names the first thing that it sees, slip included."""
    unseen, shares = 1.0, []
    for mode in known:
        sees = seen_by_look(kind, mode) if mode in modes else 0.0
        shares.append(unseen * sees)
        unseen *= 1.0 - sees
    return with_slip([unseen, *shares], observe.LOOK_SLIP)


def seen_by_look(kind: str, mode: str) -> float:
    special = observe.LOOK_SEES.get((kind, mode))
    return special if special is not None else observe.LOOK_SEES[("*", mode)]


def battery_shows(modes: Modes) -> Shares:
    return observe.BATTERY_LOW if "low" in modes else observe.BATTERY_SOUND


def hold_shows(kind: str, modes: Modes) -> Shares:
    """Distribution over HOLD_TOKENS: of several faults the one that loses most shows."""
    shown = [observe.HOLD_SHOWS[kind, mode] for mode in modes if (kind, mode) in observe.HOLD_SHOWS]
    return min(shown, default=observe.HOLD_SOUND)


def moves(kind: str, modes: Modes) -> float:
    """Chance that this position lets a step that needs it get to its end in time."""
    chance = 1.0
    for mode in modes:
        chance *= observe.MOVES.get((kind, mode), 1.0)
    return chance


def leaves_its_place(kind: str, modes: Modes) -> float:
    """Chance that a step which needs this position has at least begun to move where it does not get to its end."""
    return min((observe.LEAVES_ITS_PLACE.get((kind, mode), 1.0) for mode in modes), default=1.0)


def heard(kind: str, modes: Modes) -> float:
    """Chance that this position does not keep a step that needs it silent."""
    return 1.0 - max((observe.SILENT.get((kind, mode), 0.0) for mode in modes), default=0.0)


def keeps_time(kind: str, modes: Modes) -> float:
    """Chance that this position does not make a step slow."""
    chance = 1.0
    for mode in modes:
        chance *= 1.0 - observe.SLOW.get((kind, mode), 0.0)
    return chance
