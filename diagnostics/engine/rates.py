"""How sure each check is: one table of false alarms and misses, taken from the very tables that the likelihoods use."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from diagnostics.engine import effects, observe, standing, trials
from diagnostics.engine.case import checks_of
from diagnostics.engine.compiled import Compiled, compiled
from diagnostics.engine.evidence import outcome_table
from diagnostics.engine.faults import mode_words
from diagnostics.engine.motion import MADE, RELEASED
from diagnostics.engine.poses import plain
from diagnostics.engine.rate_reasons import SOUND, reasons
from diagnostics.engine.system.model import SENSORS, Motion, TopSystem
from diagnostics.engine.system.series import path_of
from diagnostics.engine.words import _

SEEN_FROM = 0.001
"""A fault that a check shows hardly more often than it raises a false alarm is left out: that check cannot see it."""


@dataclass(frozen=True, slots=True)
class Rate:
    """`what`: the fault, in words. `false_positive`: chance of a finding where nothing is wrong. `false_negative`:
    chance that the check shows nothing unusual although the fault is there; None where it speaks of no one fault. Both
    to three places."""

    check: str
    what: str
    false_positive: float
    false_negative: float | None
    reason: str


@dataclass(frozen=True, slots=True)
class RatedCheck:
    """A check with why it raises false alarms, and a row for each fault that it can show."""

    check: str
    title: str
    reason: str
    rates: tuple[Rate, ...]


@dataclass(frozen=True, slots=True)
class _Number:
    check: str
    kind: str
    mode: str
    where: str
    false_positive: float
    false_negative: float | None


def rates(system: TopSystem) -> tuple[RatedCheck, ...]:
    """The rates of every check on the parts that a system has, in the order of the checks."""
    known = reasons()
    by_check: dict[str, list[_Number]] = {}
    for number in _numbers(system):
        by_check.setdefault(number.check, []).append(number)
    titles = _titles()
    return tuple(
        RatedCheck(check, titles[check], known[check, SOUND], tuple(_rows(by_check[check])))
        for check in titles
        if check in by_check
    )


def _rows(numbers: Sequence[_Number]) -> Iterator[Rate]:
    """Kinds of position that share a number share a row."""
    kinds: dict[tuple[str, str, str, float, float | None], list[str]] = {}
    for one in numbers:
        key = (one.check, one.mode, one.where, round(one.false_positive, 3), _rounded(one.false_negative))
        if one.kind not in kinds.setdefault(key, []):
            kinds[key].append(one.kind)
    known = reasons()
    for (check, mode, where, false_positive, false_negative), there in kinds.items():
        reason = known.get((check, f"{there[0]} {mode}")) or known[check, mode]
        what = ", ".join(plain(kind) for kind in there if kind)
        words = mode_words(mode) if mode not in (SOUND, "stops") else ""
        text = ": ".join(part for part in (what, " ".join(filter(None, (words, where)))) if part)
        yield Rate(check, text, false_positive, false_negative, reason)


def _rounded(chance: float | None) -> float | None:
    return None if chance is None else round(chance, 3)


def _titles() -> dict[str, str]:
    return {
        "pin": _("Pin reading in a pose"),
        "pin-by-hand": _("Pin reading by hand"),
        "click": _("Click by hand"),
        "wiggle": _("Wiggle at the harness"),
        "continuity": _("Continuity of a wire"),
        "look": _("A look at the place"),
        "pressure-hold": _("Pressure hold"),
        "battery": _("Battery at rest"),
        "motion": _("Motion trial: where it stops"),
        "step-time": _("Motion trial: seconds of a step"),
        "stands": _("Motion trial: where an axis stands"),
        "lamp": _("Motion trial: the lamp"),
        "complaint": _("What a customer tells"),
    }


def _numbers(system: TopSystem) -> Iterator[_Number]:
    model = compiled(system, 1)
    for code, site in model.sites.items():
        if len(path_of(system, code)) == 1 and site.faults:
            yield from _at_position(model, code)
    yield from _of_drives(system)
    yield from _seen_of_trials(system, next(iter(system.motions.values())))
    yield _complaint(system)


def _at_position(model: Compiled, code: str) -> Iterator[_Number]:
    position = model.system.positions[code]
    checks = checks_of(model.system, code) | ({"battery"} if position.kind == "supply" else set())
    for check in sorted(checks):
        for due, good, where in _answers(model.system, code, check):
            table = outcome_table(model, check, code, due)
            false_positive = 1.0 - float(table[0, good])
            for modes, row in zip(model.sites[code].sets[1:], table[1:], strict=True):
                (mode,) = modes
                if float(row[good]) < 1.0 - false_positive - SEEN_FROM:
                    yield _Number(check, position.kind, mode, where, false_positive, float(row[good]))


def _answers(system: TopSystem, code: str, check: str) -> Iterator[tuple[str, int, str]]:
    """(what is due, index of the outcome that shows nothing unusual, where that is in words) of a check."""
    position, tokens = system.positions[code], observe.CONTACT_TOKENS
    if check == "pin-by-hand":
        yield "", tokens.index("made") * len(tokens) + tokens.index("released"), ""
    elif check != "pin":
        yield "", 0, ""
    elif position.watches is not None:
        yield system.axes[position.watches].places[0], observe.ANGLE_TOKENS.index("right"), ""
    else:
        yield MADE, tokens.index("made"), _("(read where it should be made)")
        yield RELEASED, tokens.index("released"), _("(read where it should be released)")


def _of_drives(system: TopSystem) -> Iterator[_Number]:
    """What a motion shows of the faults of its drives, module and supply."""
    false_stop = max(1.0 - float(trials.told_weights(m, None, None, layman=False)[-1]) for m in system.motions.values())
    for code, site in compiled(system, 1).sites.items():
        kind = system.positions[code].kind
        if kind in SENSORS:
            continue
        for modes in site.sets[1:]:
            (mode,) = modes
            moves, in_time = effects.moves(kind, modes), effects.keeps_time(kind, modes)
            if moves < 1.0:
                yield _Number("motion", kind, mode, "", false_stop, moves)
            if in_time < 1.0:
                sound = 1.0 - observe.SLOW_SOUND
                yield _Number("step-time", kind, mode, "", 1.0 - sound, sound * in_time)


def _seen_of_trials(system: TopSystem, motion: Motion) -> Iterator[_Number]:
    """What people say of a trial besides: where its axes stand, and the lamp."""
    first = motion.steps[0]
    axis, (start, end) = next(iter(first.moves.items()))
    right = standing.seen_there(system, {axis: end}, {axis: end})
    wrong = standing.seen_there(system, {axis: end}, {axis: start})
    yield _Number("stands", "", SOUND, _("any axis, said to stand in a place"), 1.0 - right, wrong)
    with_lamp, without = (trials.told_weights(motion, first.name, lamp, layman=False)[1] for lamp in (first.lamp, None))
    yield _Number("lamp", "", SOUND, _("any lamp"), 1.0 - float(with_lamp / without), None)


def _complaint(system: TopSystem) -> _Number:
    """Of the motion with which customers are least sure."""
    alarms, misses = [], []
    for motion in system.motions.values():
        told = [trials.told_weights(motion, step.name, None, layman=True) for step in motion.steps]
        alarms.append(sum(float(weights[-1]) for weights in told))
        misses.append(max(1.0 - float(weights[number + 1]) for number, weights in enumerate(told)))
    return _Number("complaint", "", "stops", _("the step at which it stops"), max(alarms), max(misses))
