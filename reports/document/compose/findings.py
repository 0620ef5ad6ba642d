"""Findings by weight: a table of published rules, and what each rule finds."""

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import Final

from diagnostics.engine.case import Look
from diagnostics.engine.case import MotionTrial as Trial
from diagnostics.engine.results import Suspect
from diagnostics.engine.words import _, marked, number
from reports.document.compose.results import area_of
from reports.document.compose.seen import Evidence, Seen, plain_words, situation_key, weak
from reports.document.content import Finding, LimitCheck, MotionTrial, Weight

PROBABLE: Final = 0.5
"""A suspect at least this probable is named as the probable cause."""


@dataclass(frozen=True, slots=True)
class Rule:
    weight: Weight
    words: str


RULES: Final[Mapping[str, Rule]] = {
    "leak": Rule(
        "critical", marked("Fluid escapes from a part under pressure: do not operate the top until it is sealed.")
    ),
    "motion": Rule("major", marked("A motion that does not run to its end is a major finding.")),
    "pin": Rule(
        "major", marked("A sensor whose state the module cannot tell, or is told wrongly, is a major finding.")
    ),
    "electrical": Rule(
        "major", marked("An open wire, a loose connection or a dead mechanism of a sensor is a major finding.")
    ),
    "look": Rule("major", marked("A fault seen by eye is a major finding.")),
    "noted": Rule("minor", marked("Something noted by eye that is no known fault of that part is a minor finding.")),
    "hold": Rule("major", marked("A cylinder or pump that does not hold pressure is a major finding.")),
    "battery": Rule("minor", marked("A battery too low to judge the top by is a minor finding.")),
    "unproven": Rule("major", marked("Work whose effect has not been proven afterwards is a major finding.")),
    "probable": Rule("major", marked("A fault that the checks make at least 50 % probable is a major finding.")),
    "possible": Rule("minor", marked("A fault that the checks leave at least 5 % probable is a minor finding.")),
    "limit": Rule("major", marked("A measured value above its limit by more than its uncertainty is a major finding.")),
    "limit-near": Rule(
        "minor", marked("A measured value above its limit by less than its uncertainty is a minor finding.")
    ),
    "slow": Rule("minor", marked("A step that takes longer than usual, within its limit, is a minor finding.")),
    "once": Rule(
        "minor", marked("What was found once and not again, without work on it, is a minor finding: it may come back.")
    ),
    "put-right": Rule("put-right", marked("What was found, worked on and seen in order afterwards is put right.")),
}
"""The weights are the shop's own: common practice, no source."""

LEAK_STEMS: Final = ("leak", "leck", "undicht", "tropf")
"""In what people type of a hydraulic part: a leak, where they chose no mode from the list. Of every language in which
certificates are made, since a shop types in its own."""
_OF_CHECK: Final[Mapping[str, str]] = {
    "pin": "pin",
    "pin-by-hand": "pin",
    "click": "electrical",
    "wiggle": "electrical",
    "continuity": "electrical",
    "look": "look",
    "pressure-hold": "hold",
    "battery": "battery",
    "motion": "motion",
}
ORDER: Final[tuple[Weight, ...]] = ("critical", "major", "minor", "put-right")


def findings(
    evidence: Evidence,
    proven: Set[str],
    suspects: Sequence[Suspect],
    unproven: Mapping[str, str],
    limits: Sequence[LimitCheck],
    trials: Sequence[MotionTrial],
) -> tuple[Finding, ...]:
    """All findings, the heaviest first. `proven`: sensors proven as they are now; `unproven`: position -> what still
    has to be seen there, in words."""
    found = [
        *_of_checks(evidence, proven, limits),
        *_of_unproven(evidence, unproven),
        *_of_suspects(evidence, suspects),
        *_of_limits(limits),
        *_of_times(trials),
    ]
    return tuple(sorted(dict.fromkeys(found), key=lambda one: ORDER.index(one.weight)))


def _finding(rule: str, position: str, subject: str, words: str) -> Finding:
    return Finding(RULES[rule].weight, position, subject, words, _(RULES[rule].words))


def _of_checks(evidence: Evidence, proven: Set[str], limits: Sequence[LimitCheck]) -> Iterator[Finding]:
    last = {situation_key(one): one for one in evidence.seen if one.finding}
    over = {row.position for row in limits if row.outcome in ("fail", "conditional fail")}
    for key, one in last.items():
        about = one.position, _subject(evidence, one), plain_words(one)
        worked = [w.at for w in evidence.work if w.at >= one.at and (w.position == one.position or not one.position)]
        since = max(worked, default=one.at)  # what was seen before the last work says nothing of it
        better = any(later.good and later.at > since and situation_key(later) == key for later in evidence.seen)
        if worked and (better or one.position in proven):
            yield _finding("put-right", *about)
        elif weak(evidence, one) and one.position in over:
            continue  # the measured limit says it, with its decision
        elif better or weak(evidence, one):
            yield _finding("once", *about)
        else:
            yield _finding(_rule_of(evidence, one), *about)


def _rule_of(evidence: Evidence, one: Seen) -> str:
    seen = one.observation
    hydraulic = area_of(evidence.system, one.position) == "hydraulics"
    if isinstance(seen, Look) and hydraulic and _is_leak(seen.found):
        return "leak"
    if isinstance(seen, Look) and one.judgement.verdict != "finding":
        return "noted"
    return _OF_CHECK[seen.check]


def _is_leak(found: str) -> bool:
    """By what was entered, never by what is printed: the weight is the same in every language of the certificate."""
    return found == "leaks" or any(stem in found.casefold() for stem in LEAK_STEMS)


def _subject(evidence: Evidence, one: Seen) -> str:
    if isinstance(one.observation, Trial):
        return evidence.system.motions[one.observation.motion].title
    return evidence.title(one.position) if one.position else _("Battery")


def _of_unproven(evidence: Evidence, unproven: Mapping[str, str]) -> Iterator[Finding]:
    for position, missing in unproven.items():
        yield unproven_finding(position, evidence.title(position), missing)


def unproven_finding(position: str, subject: str, missing: str) -> Finding:
    words = _("Worked on, and not proven afterwards. {missing}").format(missing=missing)
    return _finding("unproven", position, subject, words)


def _of_suspects(evidence: Evidence, suspects: Sequence[Suspect]) -> Iterator[Finding]:
    """One finding a position, with all its open suspects; `suspects` the likeliest first."""
    by_position: dict[str, list[Suspect]] = {}
    for suspect in suspects:
        by_position.setdefault(suspect.fault.position, []).append(suspect)
    for position, (first, *others) in by_position.items():
        probable = first.probability >= PROBABLE
        words = _("Probable fault: {fault}.") if probable else _("Possible fault: {fault}.")
        text = words.format(fault=_likely(first))
        if others:
            text += " " + _("Also possible: {faults}.").format(faults="; ".join(_likely(one) for one in others))
        yield _finding("probable" if probable else "possible", position, evidence.title(position), text)


def _likely(suspect: Suspect) -> str:
    percent = round(100 * suspect.probability)
    return _("{words} ({percent} % by the checks made)").format(words=suspect.words.rstrip("."), percent=percent)


def _of_limits(limits: Sequence[LimitCheck]) -> Iterator[Finding]:
    for row in limits:
        if row.outcome in ("fail", "conditional fail"):
            words = (
                _("Measured {value}, limit {limit}.")
                if row.unit == "s"
                else _("The closed contact leaves {value}, limit {limit}.")
            )
            words = words.format(value=quantity(row.value, row.unit), limit=quantity(row.limit, row.unit))
            yield _finding("limit" if row.outcome == "fail" else "limit-near", row.position, row.subject, words)


def _of_times(trials: Sequence[MotionTrial]) -> Iterator[Finding]:
    """Of the last trial of each motion; `trials` in order of time."""
    for trial in {one.motion: one for one in trials}.values():
        for step in trial.steps:
            if step.seconds is not None and step.usual[1] < step.seconds <= step.limit:
                words = _("Took {seconds} s, usually up to {usual} s.").format(
                    seconds=number(step.seconds, ".1f"), usual=number(step.usual[1], ".1f")
                )
                yield _finding("slow", "", f"{trial.title}: {step.title}", words)


def quantity(value: float, unit: str) -> str:
    """A value with its unit, as it is printed everywhere: seconds and per cent with one decimal."""
    if unit == "s":
        return f"{number(value, '.1f')} s"
    if unit == "share of supply":
        return _("{percent} % of the supply").format(percent=number(100 * value, ".1f"))
    raise ValueError(f"unknown unit {unit!r}")
