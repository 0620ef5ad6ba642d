"""The results in full: proof matrix, motion times, measured limits, other checks, work done, readings."""

from reportlab.platypus import CondPageBreak

from diagnostics.engine.hold import GUARD_BAR
from diagnostics.engine.words import _, number
from diagnostics.paper.kit import (
    CELL,
    CELL_BOLD,
    CELL_RIGHT,
    SMALL,
    SOFT_SMALL,
    Flow,
    day,
    heading,
    moment,
    subheading,
    table,
    text,
)
from diagnostics.paper.marks import Tag
from reports.document.compose.findings import quantity
from reports.document.compose.results import lamp_words
from reports.document.content import Certificate, Hold, MotionTrial, Results, StepTime, WorkDone
from reports.document.draw.instruments import measured_with
from reports.document.draw.motion import pictured, room_of
from reports.document.draw.states import outcome_tag, proof_tag, seen_tag

BESIDE = 3
"""Trials of a motion whose times stand beside each other."""


def results(content: Certificate) -> list[Flow]:
    return [
        *_proof(content),
        *_motions(content),
        *_limits(content),
        *_hydraulics_and_seals(content),
        *_other_checks(content),
        *_work(content),
    ]


def _proof(content: Certificate) -> list[Flow]:
    story: list[Flow] = heading(_("Proof matrix"))
    rows = content.results.proof
    if not rows:
        return [*story, text(_("None: the top system of this car is not declared."))]
    proven = sum(row.made and row.released for row in rows)
    words = _(
        "{proven} of {all} sensors were seen both made and released at the control module since the last work on "
        "their path. One state alone proves half."
    )
    story.append(text(words.format(proven=proven, all=len(rows)), SMALL))
    cells = [
        [
            text(row.position, CELL_BOLD),
            text(row.name + (_(" (worked on in this job)") if row.reworked else ""), CELL),
            text(row.pin, CELL),
            seen_tag(row.made),
            seen_tag(row.released),
            proof_tag(row),
        ]
        for row in rows
    ]
    head = [_("Position"), _("Sensor"), _("Pin"), _("Made"), _("Released"), _("Proof")]
    return [*story, table(head, cells, [0.1, 0.36, 0.12, 0.13, 0.13, 0.16])]


def _motions(content: Certificate) -> list[Flow]:
    pictures = content.results.pictured
    story: list[Flow] = [CondPageBreak(room_of(pictures)), *heading(_("Motions and their times")), *pictured(pictures)]
    if not content.results.trials:
        return [*story, text(_("No motion was tried."))]
    watch = measured_with(content, "stopwatch")
    if watch:
        story.append(text(_("Times taken with: {watch}").format(watch=watch), SMALL))
    for trials in together(content.results):
        story += _trial(trials[0]) if len(trials) == 1 else _trials(trials)
    return story


def together(results: Results) -> list[list[MotionTrial]]:
    """Trials in order of time; up to BESIDE of one motion that ran stand together, unless one that stopped, or work,
    lies between them."""
    groups: list[list[MotionTrial]] = []
    open_: dict[str, list[MotionTrial]] = {}
    for trial in results.trials:
        group = open_.get(trial.motion)
        worked = group is not None and any(group[-1].at <= work.at <= trial.at for work in results.work)
        if group is not None and trial.ran and not worked and len(group) < BESIDE:
            group.append(trial)
            continue
        groups.append([trial])
        open_.pop(trial.motion, None)
        if trial.ran:
            open_[trial.motion] = groups[-1]
    return groups


def _trials(trials: list[MotionTrial]) -> list[Flow]:
    """The seconds of each step beside each other, decided by the longest."""
    title = _("{motion}: ran to its end {n} times").format(motion=trials[0].title, n=len(trials))
    words = [f"{count}: {_when(trial)}" for count, trial in enumerate(trials, 1)]
    heads = [f"{count}" for count in range(1, len(trials) + 1)]
    head = [_("Step"), *heads, _("Usual"), _("Limit"), _("Decision")]
    rows = []
    for steps in zip(*(trial.steps for trial in trials), strict=True):
        longest = max(steps, key=lambda step: -1.0 if step.seconds is None else step.seconds)
        first, _measured, *rest = _step(longest)
        rows.append([first, *(text(_measured_words(step), CELL_RIGHT) for step in steps), *rest])
    share = 0.3 / len(trials)
    story = [*subheading(title), text("; ".join(words), SOFT_SMALL)]
    widths = [0.26, *(share for _one in trials), 0.14, 0.12, 0.18]
    return [*story, table(head, rows, widths, right=tuple(range(1, len(trials) + 3)))]


def _when(trial: MotionTrial) -> str:
    words = _("{at}, by {by}").format(at=moment(trial.at), by=trial.by)
    return words if trial.oil_c is None else words + _(", fluid at {oil:g} °C").format(oil=trial.oil_c)


def _trial(trial: MotionTrial) -> list[Flow]:
    how = _("ran to its end") if trial.ran else _("stopped at: {step}").format(step=trial.stopped_at)
    lamp = _(", lamp {lamp}").format(lamp=lamp_words(trial.lamp)) if trial.lamp and not trial.ran else ""
    head = [_("Step"), _("Measured"), _("Usual"), _("Limit"), _("Decision")]
    rows = [_step(step) for step in trial.steps]
    title = f"{trial.title}: {how}{lamp}"
    parts = [*subheading(title), text(_when(trial), SOFT_SMALL)]
    return [*parts, table(head, rows, [0.36, 0.14, 0.17, 0.13, 0.2], right=(1, 2, 3))]


def _step(step: StepTime) -> list[Flow]:
    low, high = step.usual
    return [
        text(step.title, CELL),
        text(_measured_words(step), CELL_RIGHT),
        text(f"{number(low, '.1f')}–{number(high, '.1f')} s", CELL_RIGHT),
        text(quantity(step.limit, "s"), CELL_RIGHT),
        text("–", CELL) if step.outcome is None else outcome_tag(step.outcome),
    ]


def _measured_words(step: StepTime) -> str:
    untimed = {"ended": _("no time"), "stopped": _("stopped here"), "not-reached": _("not reached")}
    return untimed[step.state] if step.seconds is None else quantity(step.seconds, "s")


def _limits(content: Certificate) -> list[Flow]:
    rows = [row for row in content.results.limits if row.unit != "s"]
    story: list[Flow] = heading(_("Closed contacts against their limit"))
    if not rows:
        return [*story, text(_("No closed contact was measured."))]
    cells = [
        [
            text(row.subject, CELL),
            text(f"{number(100 * row.value, '.1f')} %", CELL_RIGHT),
            text(f"± {number(100 * row.uncertainty, '.1f')} %", CELL_RIGHT),
            text(f"{number(100 * row.limit, '.1f')} %", CELL_RIGHT),
            outcome_tag(row.outcome),
        ]
        for row in rows
    ]
    head = [
        _("Voltage left over the closed contact, as a share of the supply"),
        _("Value"),
        _("U (k = 2)"),
        _("Limit"),
        _("Decision"),
    ]
    story.append(table(head, cells, [0.5, 0.1, 0.1, 0.1, 0.2], right=(1, 2, 3)))
    rests = dict.fromkeys(row.uncertainty_from for row in rows if row.uncertainty_from)
    return [*story, *(text(_("U from {words}.").format(words=words), SMALL) for words in rests)]


def _hydraulics_and_seals(content: Certificate) -> list[Flow]:
    story = _holds(content)
    seen = [row for row in content.results.observed if row.area in ("hydraulics", "seals")]
    story += [text(f"{row.position} {row.name}: {row.words} ({day(row.at)}, {row.by})", CELL) for row in seen]
    by_plan = [row for row in content.results.plan if row.area in ("hydraulics", "seals") and row.state != "skipped"]
    by_plan = [row for row in by_plan if not row.key.startswith("hold:")]  # the table of holds says it
    story += [text(f"{row.title}: {row.words} ({day(row.at)}, {row.by})", CELL) for row in by_plan if row.at]
    missing = [row for row in content.results.not_tested if row.area in ("hydraulics", "seals")]
    if missing:
        words = _("Not tested: {what}.").format(what="; ".join(row.what for row in missing))
        story.append(text(words, CELL))
    return [*heading(_("Hydraulics and seals")), *story] if story else []


def _holds(content: Certificate) -> list[Flow]:
    rows = content.results.holds
    if not rows:
        return []
    cells = [
        [
            [text(f"{row.position} {row.name}", CELL), text(f"{moment(row.at)}, {row.by}", SOFT_SMALL)],
            text(_("{start:g} to {end:g} bar").format(start=row.bar_start, end=row.bar_end), CELL_RIGHT),
            text(_("{seconds:g} s").format(seconds=row.seconds), CELL_RIGHT),
            text(_("{loss:.0f} bar").format(loss=row.usual_loss_bar), CELL_RIGHT),
            text(_("not noted") if row.oil_c is None else _("{oil:g} °C").format(oil=row.oil_c), CELL_RIGHT),
            _held(row),
        ]
        for row in rows
    ]
    head = [_("Pressure hold at"), _("Pressure"), _("Held"), _("Usual loss up to"), _("Fluid"), _("Result")]
    words = _(
        "Judged with ± {guard:g} bar for two readings of one gauge; which gauge it was is not recorded and no "
        "calibration is claimed. A leak in ml a minute is a lower bound by calculation."
    )
    gauge = measured_with(content, "pressure-gauge")
    if gauge:
        words = _(
            "Judged with ± {guard:g} bar for two readings of one gauge: {gauge} A leak in ml a minute is a lower bound "
            "by calculation."
        )
    return [
        table(head, cells, [0.3, 0.16, 0.09, 0.13, 0.1, 0.22], right=(1, 2, 3, 4)),
        text(words.format(guard=GUARD_BAR, gauge=gauge), SMALL),
    ]


def _held(row: Hold) -> Flow | list[Flow]:
    if row.verdict == "ok":
        return Tag("disc", _("holds"))
    if row.verdict != "finding":
        return [Tag("ring", _("noted")), text(row.words, SMALL)]
    leak = row.least_leak_ml_min
    tag = Tag("diamond-open", _("sinks"))
    return tag if leak is None else [tag, text(_("at least {leak:.3f} ml/min").format(leak=leak), SMALL)]


def _other_checks(content: Certificate) -> list[Flow]:
    rows = [row for row in content.results.observed if row.area not in ("hydraulics", "seals")]
    if not rows:
        return []
    cells = [
        [
            text(moment(row.at), CELL),
            text(f"{row.position} {row.name}".strip(), CELL),
            text(row.words, CELL),
            _observed_tag(row.verdict),
        ]
        for row in rows
    ]
    head = [_("When"), _("Where"), _("What was seen"), ""]
    return [*heading(_("Other checks")), table(head, cells, [0.17, 0.25, 0.45, 0.13])]


def _observed_tag(verdict: str) -> Tag:
    tags = {"finding": ("diamond-open", _("finding")), "ok": ("disc", _("in order"))}
    return Tag(*tags.get(verdict, ("ring", _("noted"))))


def _work(content: Certificate) -> list[Flow]:
    story: list[Flow] = heading(_("Work done and units fitted"))
    if not content.results.work:
        return [*story, text(_("None."))]
    cells = [
        [
            text(day(row.at), CELL),
            [text(f"{row.position} {row.name}", CELL_BOLD), text(_what(row), CELL)],
            _evidence(row),
        ]
        for row in content.results.work
    ]
    return [*story, table([_("When"), _("Work"), _("Evidence afterwards")], cells, [0.13, 0.42, 0.45])]


def _what(row: WorkDone) -> str:
    words = row.kind + (f". {row.words}" if row.words else "")
    if row.new_part:
        words += "\n" + _("Fitted: {part}").format(part=row.new_part)
    if row.old_part:
        words += "\n" + _("Removed: {part}").format(part=row.old_part)
    return words + "\n" + _("by {by}").format(by=row.by)


def _evidence(row: WorkDone) -> list[Flow]:
    if not row.evidence:
        return [text(_("None: nothing was seen at this position after the work."), CELL)]
    return [text(words, CELL) for words in row.evidence]


def readings(content: Certificate) -> list[Flow]:
    """The annex: every reading at a pin."""
    story: list[Flow] = heading(_("Annex: every reading at a pin"))
    if content.results.struck_out:
        words = _(
            "Entries struck out by the people of the shop, with a reason each: {count}. They stay in the record and do "
            "not count here."
        )
        story.append(text(words.format(count=content.results.struck_out), SMALL))
    if not content.results.readings:
        return [*story, text(_("None."))]
    meter = measured_with(content, "multimeter")
    if meter:
        story.append(text(_("Every one read with: {meter}").format(meter=meter), SMALL))
    cells = []
    before = ""
    for row in content.results.readings:
        volts = "\n".join(f"{number(one, '.2f')} V" for one in (row.volts, row.supply_volts) if one is not None)
        where = row.situation + (_(" (after work)") if row.after_work else "")
        tag = Tag("diamond-open", _("finding")) if row.verdict == "finding" else Tag("disc", row.reads or row.verdict)
        cells.append(
            [
                text(f"{moment(row.at)}\n{row.by}", SMALL),
                text(f"{row.position} {row.pin}", SMALL),
                text(_("the same") if where == before else where, SMALL),
                text(volts, CELL_RIGHT),
                tag if row.verdict == "ok" or not row.words else [tag, text(row.words, SMALL)],
            ]
        )
        before = where
    head = [_("When, by"), _("Position, pin"), _("Pose"), _("Pin, supply"), _("Judgement")]
    return [*story, table(head, cells, [0.18, 0.13, 0.19, 0.12, 0.38], right=(3,))]
