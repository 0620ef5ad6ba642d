"""The level at a pin: which state a share of the supply stands for, and how sure that is with a meter's accuracy.

Limits are those of the module, as shares of the supply. A reading near a limit is not forced to one side: the states on
both sides share it, by the chance that the true level lies there (meter accuracy, digits typed, meter loading).
"""

from collections.abc import Callable, Mapping
from itertools import pairwise

from diagnostics.engine.electrics import METER_OHM, behind_meter, contact_ohm, pin_volts, share_u, spread
from diagnostics.engine.motion import MADE, RELEASED
from diagnostics.engine.poses import level_words
from diagnostics.engine.system.model import BETWEEN, Pin, Position, TopSystem
from diagnostics.engine.words import _

WEAK_SHARE = 0.10
"""A contact that should read made and leaves more than this share of the supply is weak: common practice, no source."""
RAIL = 0.03
"""An angle sensor this close to ground or supply has lost its wire: common practice, no source."""
TOO_NEAR = 0.025
"""From this chance of another state on, nobody calls the reading: a guard band of the expanded uncertainty (ILAC-G8,
4.2.3: risk below 2.5 %)."""
LEAST_SHARE = 0.005
"""A state with less chance than this has no share in a reading; shares are kept to two places."""


def read_pin(system: TopSystem, position: Position, share: float) -> str:
    """The state that a share of the supply stands for at this pin: made | released | between, or an angle's place."""
    pin = position.pin
    assert pin is not None  # noqa: S101 - sensors with a pin only
    if pin.bands is not None:
        inside = [place for place, (low, high) in pin.bands.items() if low <= share <= high]
        return inside[0] if inside else BETWEEN
    if system.module.low_share < share < system.module.high_share:
        return BETWEEN
    return MADE if (share <= system.module.low_share) == (pin.made_reads == "low") else RELEASED


def token_at(system: TopSystem, position: Position, share: float, due: str) -> str:
    """A level as a token of the observation table: CONTACT_TOKENS, or ANGLE_TOKENS seen from the place that is due."""
    reads = read_pin(system, position, share)
    if position.watches is None:
        return "weak" if reads == MADE and weak_at(position, share) else reads
    if reads == BETWEEN and not RAIL < share < 1.0 - RAIL:
        return "rail-low" if share <= RAIL else "rail-high"
    if due in (reads, BETWEEN):
        return "right"
    return BETWEEN if reads == BETWEEN else "wrong"


def pin_tokens(system: TopSystem, position: Position, volts: float, supply: float, due: str) -> dict[str, float]:
    """Token -> share of a reading in volts; one token has all of it but near a limit."""
    return _shared(system, position, volts, supply, lambda share: token_at(system, position, share, due))


def weak_at(position: Position, share: float) -> bool:
    # The output transistor of a Hall sensor keeps some tenths of a volt, so only a metal contact is called weak.
    pin = position.pin
    if pin is None or position.kind == "hall-sensor" or pin.bands is not None:
        return False
    return (share if pin.made_reads == "low" else 1.0 - share) > WEAK_SHARE


def share_of(system: TopSystem, pin: Pin, volts: float, supply: float) -> float:
    """A reading as a share of the supply, as it would stand there without the meter.

    Within the meter's tolerance of a rail it is the rail. A meter across a pulled-up contact lies parallel to it and
    lowers the pin, noticeably where the pull-up is high.
    """
    share = min(max(volts, 0.0), supply) / supply
    if pin.bands is not None or pin.made_reads != "low":
        return share
    pull_up = system.module.pull_up_ohm
    return pin_volts(behind_meter(contact_ohm(share, 1.0, pull_up)), 1.0, pull_up)


def with_meter(system: TopSystem, pin: Pin, share: float) -> float:
    """What a meter shows of a level, as a share of the supply: the reverse of `share_of`."""
    if pin.bands is not None or pin.made_reads != "low":
        return share
    pull_up = system.module.pull_up_ohm
    behind = contact_ohm(share, 1.0, pull_up)
    return pin_volts(METER_OHM if behind == float("inf") else behind * METER_OHM / (behind + METER_OHM), 1.0, pull_up)


def too_near(system: TopSystem, position: Position, code: str, volts: float, supply: float) -> str:
    """That a reading is too near to a limit to call its state, as a sentence; or ''."""
    states = _shared(system, position, volts, supply, lambda share: read_pin(system, position, share))
    likeliest = sorted(states, key=lambda state: -states[state])[:2]
    if len(likeliest) < 2 or states[likeliest[1]] < TOO_NEAR:
        return ""
    words = _(
        "{code} reads {volts:g} V, {percent:.1f} % of the supply: too near to the limit to call it {one} or {other}. "
        "Read pin and supply again with all digits, on the lowest range that takes them."
    )
    one, other = map(level_words, likeliest)
    return words.format(code=code, volts=volts, percent=100 * volts / supply, one=one, other=other)


def weak_or_not(system: TopSystem, position: Position, volts: float, supply: float) -> str:
    """That a made reading is too near to the limit to call it weak, as a sentence to append; or ''."""
    weak = pin_tokens(system, position, volts, supply, MADE).get("weak", 0.0)
    if not TOO_NEAR <= weak <= 1.0 - TOO_NEAR:
        return ""
    words = _(
        "That is too near to the limit of {percent:.0f} % to say whether it is weak: read again on a lower range."
    )
    return " " + words.format(percent=100 * WEAK_SHARE)


def _shared(
    system: TopSystem, position: Position, volts: float, supply: float, name: Callable[[float], str]
) -> dict[str, float]:
    """What `name` calls the levels that the reading may stand for -> chance, in steps of 0.01, summing to 1."""
    pin = position.pin
    assert pin is not None  # noqa: S101 - sensors with a pin only
    edges = _edges(system, position)
    shows = [with_meter(system, pin, edge) for edge in edges]
    chances = spread(min(max(volts, 0.0), supply) / supply, share_u(volts, supply), shows)
    found: dict[str, float] = {}
    for (low, high), chance in zip(pairwise((0.0, *edges, 1.0)), chances, strict=True):
        level = name((low + high) / 2)
        found[level] = found.get(level, 0.0) + chance
    return in_hundredths(found)


def in_hundredths(chances: Mapping[str, float]) -> dict[str, float]:
    """Chances rounded to two places, what is less than LEAST_SHARE left out; the greatest takes up the rest to 1."""
    first = max(chances, key=lambda one: chances[one])
    rest = {one: round(share, 2) for one, share in chances.items() if one != first and share >= LEAST_SHARE}
    return {first: round(1.0 - sum(rest.values()), 2), **rest}


def _edges(system: TopSystem, position: Position) -> list[float]:
    """Limits of the states and tokens at a pin, rising shares of the supply."""
    pin = position.pin
    assert pin is not None  # noqa: S101 - sensors with a pin only
    if pin.bands is not None:
        return sorted({RAIL, 1.0 - RAIL, *(edge for band in pin.bands.values() for edge in band)})
    weak = WEAK_SHARE if pin.made_reads == "low" else 1.0 - WEAK_SHARE
    return sorted({weak, system.module.low_share, system.module.high_share})
