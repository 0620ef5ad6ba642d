"""How far the plan of an inspection is covered: by what the bench sheet shows, and by what people answered."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final, Literal

from diagnostics.engine.case import Battery, PinByHand, PinReading, PressureHold
from diagnostics.engine.case import MotionTrial as Trial
from diagnostics.engine.inspection.items import Grade, Item
from diagnostics.engine.results import ProofState
from diagnostics.engine.words import _, number
from reports.document.compose.findings import ORDER, RULES
from reports.document.compose.seen import Evidence, Seen
from reports.document.content import Finding, NotTested, PlanRow, Results, Weight

SKIP: Final = "skip"
State = Literal["done", "finding", "skipped", "missing"]


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person said of an item: one of its grades, or SKIP with the reason in `words`. `measured` in the unit of
    the item's quantity; `picture`: its digest, or ''."""

    key: str
    grade: str
    words: str
    at: datetime
    by: str
    measured: float | None = None
    picture: str = ""


@dataclass(frozen=True, slots=True)
class Covered:
    """An item and how it stands. `words`: what was seen, why it was skipped, or what is missing. `findings`: what an
    answer found, with its weight."""

    item: Item
    state: State
    words: str
    at: datetime | None = None
    by: str = ""
    picture: str = ""
    findings: tuple[Finding, ...] = ()

    @property
    def weight(self) -> Weight | None:
        """Of what a person found there now; None where the bench sheet found it, or nothing is wrong."""
        return self.findings[0].weight if self.state == "finding" and self.findings else None


def coverage(plan: Sequence[Item], evidence: Evidence | None, answers: Sequence[Answer]) -> tuple[Covered, ...]:
    """One row an item, in the order of the plan. `answers` in order of time, those that stand; the last one of an item
    counts. What was measured counts before a skip. `evidence` None: the system is not declared."""
    proof = evidence.proof() if evidence is not None else {}
    told: dict[str, list[Answer]] = {}
    for one in answers:
        told.setdefault(one.key, []).append(one)
    rows = []
    for item in plan:
        own = told.get(item.key, [])
        row = _measured(item, evidence, proof) if item.measured else _judged(item, own, evidence)
        if row.state == "missing" and own and own[-1].grade == SKIP:
            last = own[-1]
            row = replace(row, state="skipped", words=last.words, at=last.at, by=last.by)
        rows.append(row)
    return tuple(rows)


def _measured(item: Item, evidence: Evidence | None, proof: Mapping[str, ProofState]) -> Covered:
    if evidence is None or item.measured is None:
        return Covered(item, "missing", _("The top system of the car is not declared."))
    return _OF[item.measured](item, evidence, proof)


def _sensor(item: Item, evidence: Evidence, proof: Mapping[str, ProofState]) -> Covered:
    state = proof.get(item.subject, ProofState(False, False))
    pins = [s for s in evidence.current(item.subject) if isinstance(s.observation, PinReading | PinByHand)]
    last = pins[-1] if pins else None
    if state.proven and last is not None:
        return _row(item, "done", _("Seen both made and released."), last)
    if last is not None and last.finding:
        return _row(item, "finding", last.judgement.words, last)
    if state.made or state.released:
        words = _("Seen made only, not released.") if state.made else _("Seen released only, not made.")
        return Covered(item, "missing", words)
    return Covered(item, "missing", _("Seen in neither state at the module."))


def _motion(item: Item, evidence: Evidence, _proof: Mapping[str, ProofState]) -> Covered:
    trials = [one for one in evidence.trials() if getattr(one.observation, "motion", "") == item.subject]
    if trials and not trials[-1].good:
        return _row(item, "finding", trials[-1].judgement.words, trials[-1])
    steps = evidence.system.step_names(item.subject)
    whole = [one for one in trials if one.good and _timed(one, steps)]
    if len(whole) >= item.times:
        return _row(item, "done", _("{n} whole trials with all times.").format(n=len(whole)), whole[-1])
    words = _("{n} of {all} whole trials with the seconds of every step.")
    return Covered(item, "missing", words.format(n=len(whole), all=item.times))


def _timed(one: Seen, steps: Sequence[str]) -> bool:
    return isinstance(one.observation, Trial) and all(step in one.observation.seconds for step in steps)


def _hold(item: Item, evidence: Evidence, _proof: Mapping[str, ProofState]) -> Covered:
    holds = [one for one in evidence.current(item.subject) if isinstance(one.observation, PressureHold)]
    return _last(item, holds, _("No pressure hold was made there."))


def _battery(item: Item, evidence: Evidence, _proof: Mapping[str, ProofState]) -> Covered:
    return _last(item, [one for one in evidence.seen if isinstance(one.observation, Battery)], _("Not measured."))


def _supply(item: Item, evidence: Evidence, _proof: Mapping[str, ProofState]) -> Covered:
    for one in reversed(evidence.seen):
        volts = getattr(one.observation, "supply_volts", None)
        if volts is not None:
            return _row(item, "done", _("{volts:.2f} V beside the last reading.").format(volts=volts), one)
    return Covered(item, "missing", _("No reading has the supply beside it."))


def _last(item: Item, seen: Sequence[Seen], missing: str) -> Covered:
    if not seen:
        return Covered(item, "missing", missing)
    one = seen[-1]
    return _row(item, "finding" if one.finding else "done", one.judgement.words, one)


_OF: Final[Mapping[str, Callable[[Item, Evidence, Mapping[str, ProofState]], Covered]]] = {
    "sensor": _sensor,
    "motion": _motion,
    "hold": _hold,
    "battery": _battery,
    "supply": _supply,
}


def _row(item: Item, state: State, words: str, one: Seen) -> Covered:
    return Covered(item, state, words, one.at, one.by)


def _judged(item: Item, answers: Sequence[Answer], evidence: Evidence | None) -> Covered:
    given = [(one, grade) for one in answers if (grade := item.grade(one.grade)) is not None]
    if not given or answers[-1].grade == SKIP:
        return Covered(item, "missing", _("Not judged yet."), findings=tuple(_earlier(item, given, evidence)))
    last, grade = given[-1]
    words = answer_words(item, grade, last)
    row = Covered(item, "done", words, last.at, last.by, last.picture)
    if grade.weight is None:
        return replace(row, findings=tuple(_earlier(item, given, evidence)))
    return replace(row, state="finding", findings=(Finding(grade.weight, "", item.title, words, grade.rule),))


def _earlier(
    item: Item, given: Sequence[tuple[Answer, Grade]], evidence: Evidence | None
) -> Iterator[Finding]:  # fmt: skip
    """The last thing that was found wrong and is no more: put right where work lies between, else seen once."""
    wrong = [(one, grade) for one, grade in given if grade.weight is not None]
    if not wrong:
        return
    one, grade = wrong[-1]
    better = next((later for later, fine in given if later.at > one.at and fine.weight is None), None)
    if better is None:  # skipped after it was found: the finding stands
        assert grade.weight is not None  # noqa: S101 - chosen above
        yield Finding(grade.weight, "", item.title, answer_words(item, grade, one), grade.rule)
        return
    worked = evidence is not None and any(one.at < work.at < better.at for work in evidence.work)
    rule = RULES["put-right" if worked else "once"]
    yield Finding(rule.weight, "", item.title, answer_words(item, grade, one), _(rule.words))


def answer_words(item: Item, grade: Grade, one: Answer) -> str:
    """What was answered in a line: the grade, the figure with its unit, the words of who answered."""
    figure = ""
    if item.quantity is not None and one.measured is not None:
        figure = f"{item.quantity.title} {number(one.measured, 'g')} {item.quantity.unit}"
    return "; ".join(part.rstrip(".") for part in (grade.words, figure, one.words) if part) + "."


def open_items(rows: Sequence[Covered]) -> tuple[Covered, ...]:
    return tuple(one for one in rows if one.state == "missing")


def with_plan(results: Results, rows: Sequence[Covered]) -> Results:
    """`results` with the covered plan: its findings among the others by weight, what was skipped among what was not
    tested, in place of what is said there without a reason. ValueError where an item is still open."""
    if not rows:
        return results
    if open_items(rows):
        raise ValueError("a plan with open items is no result")
    skipped = [
        NotTested(one.item.area, one.item.title, _("Skipped by {by}: {why}").format(by=one.by, why=one.words))
        for one in rows if one.state == "skipped"
    ]  # fmt: skip
    named = {one.what for one in skipped}
    kept = [one for one in results.not_tested if one.what not in named]
    return replace(
        with_findings(results, rows),
        not_tested=(*skipped, *kept),
        plan=tuple(_plan_row(one) for one in rows),
    )


def with_findings(results: Results, rows: Sequence[Covered]) -> Results:
    """`results` with what people found at items of the plan among the other findings, the heaviest first."""
    found = dict.fromkeys([*results.findings, *(found for one in rows for found in one.findings)])
    return replace(results, findings=tuple(sorted(found, key=lambda one: ORDER.index(one.weight))))


def _plan_row(one: Covered) -> PlanRow:
    assert one.state != "missing"  # noqa: S101 - asked by the caller
    return PlanRow(
        key=one.item.key,
        area=one.item.area,
        title=one.item.title,
        wants=one.item.wants,
        weighty=one.item.weighty,
        state=one.state,
        words=one.words,
        at=one.at,
        by=one.by,
        weight=one.weight,
        picture=one.picture,
    )


def surroundings_words(rows: Sequence[Covered]) -> str:
    """What was noted of the surroundings, for the certificate's own field; '' where nothing was."""
    return next((one.words for one in rows if one.item.key == "surroundings" and one.state == "done"), "")
