"""The statement of conformity: from findings, coverage and measured limits, by one published rule."""

from collections.abc import Mapping, Sequence
from typing import Final

from diagnostics.engine.electrics import METER_DIGITS, METER_PERCENT, METER_STEP_V
from diagnostics.engine.signals import WEAK_SHARE
from diagnostics.engine.words import _, marked
from reports.document.compose.instruments import uncertainty_words
from reports.document.content import Overall, ProofRow, Results, Statement
from reports.document.decide import STOPWATCH_U_S, Meter, worst

_WORDS: Final[Mapping[Statement, str]] = {
    "fail": marked("The top does not meet its requirements."),
    "conditional fail": marked("A measured value lies above its limit, within the uncertainty of measuring."),
    "conditional pass": marked(
        "The top meets its requirements; a measured value is nearer to its limit than its uncertainty."
    ),
    "pass": marked("The top meets its requirements."),
    "none": marked("No statement of conformity: too little was tested to make one."),
}


def overall(results: Results, motions: int, remarks: Sequence[str] = ()) -> Overall:
    """`motions`: how many whole motions the system has (0: nobody has declared it, so that nothing can be stated).
    `remarks`: what the statement has to say besides, in sentences."""
    open_ = results.open_findings()
    heavy = sum(found.weight in ("critical", "major") for found in open_)
    statement = _statement(results, motions, heavy)
    minor = sum(found.weight == "minor" for found in open_)
    counted = _("Open findings: {heavy} critical or major, {minor} minor.").format(heavy=heavy, minor=minor)
    rule = _rule_words() + (" " + _plan_rule_words() if results.plan else "")
    return Overall(statement, " ".join([_(_WORDS[statement]), counted, *remarks]), rule)


def _statement(results: Results, motions: int, heavy: int) -> Statement:
    if not motions:
        return "none"
    if heavy:
        return "fail"
    if any(row.weighty and row.state == "skipped" for row in results.plan):
        return "none"
    ran = {trial.motion for trial in results.trials if trial.ran}
    if len(ran) < motions or not _all_proven(results.proof) or not _all_current(results):
        return "none"
    return worst([row.outcome for row in results.limits]) or "pass"


def _all_proven(rows: tuple[ProofRow, ...]) -> bool:
    return bool(rows) and all(row.made and row.released for row in rows)


def _all_current(results: Results) -> bool:
    """Whether each motion was last tried after the last work: earlier trials say nothing of the top as it is now."""
    last_work = max((work.at for work in results.work), default=None)
    last = {trial.motion: trial for trial in results.trials}
    return last_work is None or all(trial.at > last_work for trial in last.values())


def _rule_words() -> str:
    return _(
        "Requirements: every motion runs to its end within the limits of its steps; every sensor is seen both made and "
        "released at the control module after the last work on its path; no critical or major finding stands open; "
        "every measured value is within its limit. If a sensor or a motion is not covered, no statement is made."
    )


def _plan_rule_words() -> str:
    return _(
        "The inspection followed a plan: every item is seen, or skipped with a reason. If an item on which the "
        "statement depends is skipped, no statement is made."
    )


def decision_rule_words(meter: Meter | None = None) -> str:
    """The rule for measured values, fixed before measuring; `meter`: what the voltages were read with."""
    return _(
        "Measured values are decided after ILAC-G8:09/2019, 4.2.3, with the guard band equal to the expanded "
        "uncertainty U (k = 2): pass up to limit − U; conditional pass up to the limit; conditional fail up to "
        "limit + U; fail above. Voltages: {voltages} Step times: U = {stopwatch} s. Limits: a closed contact leaves at "
        "most {share} % of the supply (common practice, no source); a step takes at most the seconds that its system "
        "declares."
    ).format(voltages=_voltages(meter), stopwatch=STOPWATCH_U_S, share=round(100 * WEAK_SHARE))


def _voltages(meter: Meter | None) -> str:
    usual = {"percent": METER_PERCENT, "digits": METER_DIGITS, "resolution": METER_STEP_V}
    if meter is None:
        return _(
            "U from a meter allowance of ±({percent} % of reading + {digits} × {resolution} V), taken as rectangular; "
            "the meter is taken to be the shop's usual one, no calibration is claimed."
        ).format(**usual)
    words = _("U from {from_}.").format(from_=uncertainty_words(meter))
    if meter.valid and meter.percent is not None:
        return words
    allowance = _("The allowance of a usual meter is ±({percent} % of reading + {digits} × {resolution} V).")
    return f"{words} {allowance.format(**usual)}"
