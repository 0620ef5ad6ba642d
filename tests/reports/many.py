"""Certificates that say as much as a certificate can: every judgement of each kind of check, on all shipped systems."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

from diagnostics.charts.words import made_in_words
from diagnostics.engine.case import Case, CaseCar
from diagnostics.engine.cautions import ORDER, caution_words
from diagnostics.engine.faults import modes_of
from diagnostics.engine.inference import diagnose
from diagnostics.engine.inspection.plan import plan_for
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import at_pin
from diagnostics.engine.words import _, number
from diagnostics.learning.records import Estimate, Range, Tally
from reports.document import compose
from reports.document.compose import Calibrated, Seen, Used, Worked
from reports.document.compose.coverage import SKIP, Answer, coverage, surroundings_words, with_plan
from reports.document.content import (
    Ahead,
    AheadRow,
    Certificate,
    Expected,
    Instrument,
    Observed,
    PutRight,
    PutRightRow,
    Results,
    Shown,
)
from tests.reports import sample

SLUGS = ("rht-trio", "softbow-hydro", "softline-electro")
DAY = date(2026, 11, 20)


def certificates() -> dict[str, Certificate]:
    """By name; each composed anew, in the language that is spoken."""
    made = {f"everything-{slug}": _everything(slug) for slug in SLUGS}
    bare = sample.certificate(Results(), overall=compose.overall(Results(), motions=0))
    undeclared = compose.undeclared_results(
        [Observed("electrical", "XG1.4", "", f"{number(0.12, '.2f')} V", "note", sample.START, "Ines Okafor")],
        [Worked("BG8", _("Replaced"), "", sample.START, "Ines Okafor", "", "TW-BGD-3302")],
        {"BG8": _("Read its pin made.")},
        1,
    )
    passed = sample.results(sample.evidence_of(sample.sound_checks(sample.system())))
    return made | {
        "planned": _planned("rht-trio", -1),
        "planned-soft": _planned("softline-electro", 1),
        "bare": bare,
        "undeclared": sample.certificate(undeclared, overall=compose.overall(undeclared, motions=0)),
        "repaired": sample.certificate(sample.results(sample.repaired(), struck_out=2), replaces="TW-2026-11111111-1"),
        "passed": sample.certificate(passed, outlook=compose.ahead_words(None)),
    }


def _planned(slug: str, grade: int) -> Certificate:
    """An inspection by plan in which each item was found as its grade of that number says, and measured with a meter
    whose calibration had ended; what nobody judges was skipped where it was not seen."""
    top = sample.system(slug)
    ended = Calibrated(DAY - timedelta(400), DAY - timedelta(35), "K-7", "Lab", 0.01)
    used = Used("multimeter", "Bench meter", "LM-1", (ended,), percent=0.3, volts=0.02)
    evidence = replace(sample.evidence_of(sample.sound_checks(top), top=top), meter=compose.meter_of([used], [DAY]))
    plan = plan_for(top)
    answers = [
        Answer(
            one.key, one.grades[min(grade, len(one.grades) - 1)].code if one.grades else SKIP, "Left", sample.START,
            "Ines Okafor", 12.5 if one.quantity else None,
        )
        for one in plan
    ]  # fmt: skip
    rows = coverage(plan, evidence, answers)
    found = with_plan(sample.results(evidence, planned=True), rows)
    instruments = (compose.named(used, [DAY]),)
    found = replace(found, not_tested=(*found.not_tested, *compose.untraced(found, instruments)))
    said = compose.overall(found, motions=2, remarks=tuple(compose.remarks(found, instruments)))
    return replace(
        sample.certificate(found, top),
        instruments=instruments,
        overall=said,
        ambient=surroundings_words(rows),
        decision_rule=compose.decision_rule_words(evidence.meter),
    )


def _everything(slug: str) -> Certificate:
    top = sample.system(slug)
    checks = [*_checks(top)]
    work = [
        Worked(
            code, _("Replaced"), "Contact burnt", sample.START + timedelta(minutes=at), "Ines Okafor", "OLD-1", "NEW-2"
        )
        for at, code in ((300, "BG2"), (301, "BG1"))
    ]
    checks += [sample.pin(top, 400, "BG2", pose) for pose in top.poses]
    evidence = sample.evidence_of(checks, work, top)
    observations = tuple(one.observation for one in evidence.seen if one.judgement.verdict != "refused")
    case = Case(system=slug, car=CaseCar(made_on="2011-04"), seen_on="2026-11-20", observations=observations[:30])
    suspects = [one for one in diagnose(top, case).suspects if one.probability > 0.05]
    found = sample.results(evidence, suspects=suspects, unproven={"BG1": _("Read its pin made.")}, struck_out=3)
    return replace(
        sample.certificate(found, top),
        cautions=tuple(caution_words(one) for one in ORDER),
        instruments=(Instrument("Multimeter", "12-345", DAY), Instrument("Gauge")),
        client_information=("Complaint: it stops.",),
        pictures=tuple(
            Shown("0" * 64, "Bracket", "BG7", moment, sample.START, "Ines Okafor") for moment in ("", "before", "after")
        ),
        **_future(),
        put_right=_costs(),
    )


def _checks(top: TopSystem) -> Iterator[Seen]:
    """Every kind of check with every kind of judgement, one minute after the other."""
    yield from sample.sound_checks(top)
    minute = 10
    for code in _one_of_each(top):
        if top.positions[code].pin is not None:
            yield from _pins(top, minute, code)
        for ohms in (None, 0.2, 2.0, 4.0, 30.0, 20_000.0):
            yield sample.seen(top, minute, check="continuity", position=code, ohms=ohms)
        if top.positions[code].kind != "angle-sensor":
            for pressed in (None, 0.3, 1.2, 1.5, 3.0, 6.0, 12.2):
                yield sample.by_hand(top, minute, code, pressed=pressed)
        yield sample.seen(top, minute, check="click", position=code, heard=True)
        yield sample.seen(top, minute, check="click", position=code, heard=False)
        yield sample.seen(top, minute, check="wiggle", position=code, steady=True)
        yield sample.seen(top, minute, check="wiggle", position=code, steady=False)
        minute += 1
    for volts in (15.5, 13.5, 12.7, 12.3, 11.0):
        yield sample.seen(top, minute, check="battery", volts=volts)
    yield from _looks(top, minute + 1)
    yield from _trials(top, minute + 2)
    yield from _holds(top, minute + 9)


def _one_of_each(top: TopSystem) -> list[str]:
    """A sensor of each kind, and two switches in series."""
    wired = top.wired()
    series = [code for code, one in wired.items() if one.in_series_with]
    return [*{one.kind: code for code, one in wired.items()}.values(), *series, *(at_pin(top, code) for code in series)]


def _pins(top: TopSystem, minute: int, code: str) -> Iterator[Seen]:
    for share in (0.0, 0.05, 0.0805, 0.1, 0.15, 0.3, 0.5, 0.7, 0.985):
        yield sample.pin(top, minute, code, next(iter(top.poses)), share)
    axis = next((one for one in top.axes if one == top.positions[code].watches), next(iter(top.axes)))
    between = {**next(iter(top.poses.values())), axis: "between"}
    for share in (0.0, 0.5):
        at = {"volts": round(share * 11.4, 2), "supply_volts": 11.4}
        yield sample.seen(top, minute, check="pin", position=code, pose=between, **at)


def _looks(top: TopSystem, minute: int) -> Iterator[Seen]:
    kinds = {one.kind: code for code, one in top.positions.items()}
    for code in kinds.values():
        for found in ("nothing", *modes_of(top, code), "a scratch"):
            yield sample.seen(top, minute, check="look", position=code, found=found)


def _trials(top: TopSystem, minute: int) -> Iterator[Seen]:
    for motion, declared in top.motions.items():
        first, *_others, last = declared.steps
        yield sample.trial(top, minute, motion, stops_at=last.name)
        yield sample.trial(top, minute, motion, slow=1.5)
        stands = dict.fromkeys(list(last.moves)[:1], "between")
        for oil in (None, -10.0, 20.0):
            seconds = {first.name: first.seconds[1] + 0.2, last.name: last.limit_seconds + 0.3}
            yield sample.seen(top, minute + 1, check="motion", motion=motion, stops_at=None, seconds=seconds, oil_c=oil)
        for lamp in ("flashing", "steady", "off"):
            yield sample.seen(
                top, minute + 2, check="motion", motion=motion, stops_at=last.name, lamp=lamp, stands=stands
            )
        yield sample.seen(top, minute + 3, check="motion", motion=motion, stops_at=None, seconds={})


def _holds(top: TopSystem, minute: int) -> Iterator[Seen]:
    kinds = {one.kind: code for code, one in top.positions.items()}
    for kind, code in kinds.items():
        if kind in ("cylinder", "pump"):
            for start, end, seconds, oil in ((120, 116, 60, 18), (120, 60, 60, None), (120, 90, 60, 18.5)):
                yield _hold(top, minute, code, start, end, seconds, oil)
            yield _hold(top, minute, code, 20, 10, 60, None)
            yield _hold(top, minute, code, 120, 110, 5, None)


def _hold(top: TopSystem, minute: int, code: str, start: float, end: float, seconds: float, oil: float | None) -> Seen:
    figures = {"bar_start": start, "bar_end": end, "seconds": seconds, "oil_c": oil}
    return sample.seen(top, minute, check="pressure-hold", position=code, **figures)


def _future() -> dict[str, object]:
    """Production ranges of every shape, chances of every size, and two of which too little is known."""
    shapes = ((24030, 24050, True, False), (24030, 24050, False, True), (24040, 24040, False, False))
    made = [made_in_words(_range(*shape)) for shape in (*shapes, (24030, 24050, False, False))]
    chances = (Expected(12, 0.06, 0.03, 0.12), Expected(24, 0.999, 0.002, 0.9999))
    even = (Expected(12, 0.06, 0.06, 0.06), Expected(24, 0.12, 0.12, 0.12))
    rows = [
        AheadRow(f"BG{at}", "Some switch", chances if at % 2 else even, 214, words, even if at < 3 else ())
        for at, words in enumerate(made, 1)
    ]
    rows += [AheadRow("MA9", "Motor", (), 7, made[0]), AheadRow("MA8", "Motor", (), 7)]
    ahead = Ahead(DAY, date(2026, 3, 1), tuple(rows))
    return {"ahead": ahead, "outlook": compose.ahead_words(ahead)}


def _range(first: int, last: int, open_first: bool, open_last: bool) -> Range:
    tally = Tally(cars=80, units=80, failed=31)
    ratio = Estimate(4.1, 0.26, 16.3)
    return Range(first, last, (first, last), (first, last), open_first, open_last, 0.9, ratio, tally, tally, True, ())


def _costs() -> PutRight:
    rows = (
        PutRightRow("BG8", "Replace BG8 (Shells stacked)", 0.97, Decimal("0.75"), Decimal("72.98")),
        PutRightRow("MM3", "x", 0.004, Decimal("1.50"), Decimal("1145.95"), "TW-1", Decimal("1234.50"), "asked"),
        PutRightRow("MM4", "x", 0.4, Decimal("1.50"), Decimal("145.95"), "TW-2", Decimal("234.50"), "paid"),
        PutRightRow("MM5", "x", 0.4, Decimal("1.50"), Decimal("145.95"), "TW-3"),
    )
    return PutRight(DAY, "EUR", Decimal("97.30"), Decimal("19.00"), rows, Decimal("86.85"), Decimal("4123.4"), ("Lid",))
