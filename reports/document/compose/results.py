"""From checks to the results that a certificate lists: proof, readings, limits, motion trials, other checks, work."""

from collections.abc import Iterator, Mapping, Set
from dataclasses import replace

from diagnostics.engine.case import MotionTrial as Trial
from diagnostics.engine.case import PinByHand, PressureHold
from diagnostics.engine.case import PinReading as PinCheck
from diagnostics.engine.hold import least_leak_ml_min, usual_loss_bar
from diagnostics.engine.motion import MADE, pose_of
from diagnostics.engine.poses import pose_words
from diagnostics.engine.results import ProofState
from diagnostics.engine.signals import WEAK_SHARE, read_pin
from diagnostics.engine.system.model import Motion, Pin, Step, TopSystem
from diagnostics.engine.system.series import at_pin, partner_of, pin_of
from diagnostics.engine.words import _
from reports.document.compose.instruments import uncertainty_words
from reports.document.compose.seen import Evidence, Seen, plain_words
from reports.document.content import (
    Area,
    Hold,
    LimitCheck,
    MotionTrial,
    Observed,
    PinReading,
    ProofRow,
    StepState,
    StepTime,
    WorkDone,
)
from reports.document.decide import STOPWATCH_U_S, decide, share_of_supply

HYDRAULIC = frozenset({"cylinder", "pump", "valve"})


def lamp_words(lamp: str) -> str:
    return {"flashing": _("flashing"), "steady": _("steady"), "off": _("off")}.get(lamp, lamp)


def reads_words(reads: str) -> str:
    words = {"made": _("made"), "released": _("released"), "between": _("neither made nor released"), "": ""}
    return words.get(reads, reads)


def proof_rows(evidence: Evidence, proof: Mapping[str, ProofState]) -> tuple[ProofRow, ...]:
    """One row a sensor, in the order of the pins; what nobody has looked at is there too, as not seen."""
    rows = []
    for code, position in evidence.system.wired().items():
        state = proof.get(code, ProofState(False, False))
        label = pin_of(evidence.system, code).label
        reworked = evidence.last_work(code) is not None
        rows.append(ProofRow(code, position.name, label, state.made, state.released, reworked))
    return tuple(rows)


def readings(evidence: Evidence) -> tuple[PinReading, ...]:
    """Every pin reading; a reading by hand gives two rows, of which the first says the judgement."""
    rows: list[PinReading] = []
    for one in evidence.seen:
        seen = one.observation
        if isinstance(seen, PinCheck):
            pose = pose_of(evidence.system, seen.pose)
            where, reads = pose_words(evidence.system, pose), reads_words(one.judgement.reads)
            rows.append(_reading(evidence, one, where, seen.volts, reads))
        elif isinstance(seen, PinByHand):
            pressed, let_go = _by_hand_words(evidence.system, seen.position)
            rows.append(_reading(evidence, one, pressed, seen.pressed_volts, _state(evidence, one, True)))
            released = _reading(evidence, one, let_go, seen.released_volts, _state(evidence, one, False))
            rows.append(replace(released, words=""))
    return tuple(rows)


def _by_hand_words(system: TopSystem, code: str) -> tuple[str, str]:
    """The two halves of a reading by hand; of two switches in series with the one that is held pressed meanwhile."""
    other = partner_of(system, code)
    if other is None:
        return _("by hand, pressed"), _("by hand, let go")
    words = _("by hand, pressed; {other} held"), _("by hand, let go; {other} held")
    return words[0].format(other=other), words[1].format(other=other)


def _state(evidence: Evidence, one: Seen, pressed: bool) -> str:
    """The state that one half of a reading by hand stands for, in words."""
    seen = one.observation
    if not isinstance(seen, PinByHand) or not seen.supply_volts:
        return ""
    volts = seen.pressed_volts if pressed else seen.released_volts
    first = evidence.system.positions[at_pin(evidence.system, seen.position)]
    return reads_words(read_pin(evidence.system, first, volts / seen.supply_volts))


def _reading(evidence: Evidence, one: Seen, situation: str, volts: float, reads: str) -> PinReading:
    return PinReading(
        position=one.position,
        pin=pin_of(evidence.system, one.position).label if one.position in evidence.system.wired() else "",
        situation=situation,
        volts=volts,
        supply_volts=getattr(one.observation, "supply_volts", None),
        reads=reads,
        verdict=one.judgement.verdict,
        words=one.judgement.words,
        at=one.at,
        by=one.by,
        after_work=evidence.reworked(one),
    )


def limits(evidence: Evidence) -> tuple[LimitCheck, ...]:
    """Measured values that have a limit: the latest closed contact of each switch, step times of the last trials."""
    contacts = [row for code in evidence.system.sensors() if (row := _closed_contact(evidence, code)) is not None]
    return (*contacts, *_step_limits(evidence))


def _closed_contact(evidence: Evidence, code: str) -> LimitCheck | None:
    position = evidence.system.positions[code]
    pin = position.pin
    if pin is None or pin.bands or position.kind not in ("switch", "control-switch"):
        return None  # a Hall or angle sensor has no contact
    for one in reversed(evidence.current(code)):
        closed = _closed_volts(pin, one)
        if closed is not None:
            share = share_of_supply(*closed, evidence.meter)
            outcome = decide(share.value, WEAK_SHARE, share.uncertainty)
            row = LimitCheck(
                code, evidence.title(code), share.value, WEAK_SHARE, share.uncertainty, "share of supply", outcome
            )
            return replace(row, uncertainty_from=uncertainty_words(evidence.meter))
    return None


def _closed_volts(pin: Pin, one: Seen) -> tuple[float, float] | None:
    """Volts over the closed contact and the supply, where `one` is a reading of a closed contact."""
    seen = one.observation
    if one.judgement.reads != MADE or not isinstance(seen, PinCheck | PinByHand):
        return None
    volts = seen.volts if isinstance(seen, PinCheck) else seen.pressed_volts
    supply = seen.supply_volts
    if not supply or supply <= 0:
        return None
    over = volts if pin.made_reads == "low" else supply - volts
    return (over, supply) if 0 <= over <= supply else None


def _step_limits(evidence: Evidence) -> list[LimitCheck]:
    rows = []
    for one in evidence.last_trials().values():
        trial = motion_trial(evidence, one)
        for step in trial.steps:
            if step.seconds is not None and step.outcome is not None:
                subject = f"{trial.title}: {step.title}"
                rows.append(LimitCheck("", subject, step.seconds, step.limit, STOPWATCH_U_S, "s", step.outcome))
    return rows


def trials(evidence: Evidence) -> tuple[MotionTrial, ...]:
    return tuple(motion_trial(evidence, one) for one in evidence.seen if isinstance(one.observation, Trial))


def motion_trial(evidence: Evidence, one: Seen) -> MotionTrial:
    seen = one.observation
    assert isinstance(seen, Trial)  # noqa: S101 - called for motion trials only
    motion = evidence.system.motions[seen.motion]
    titles = {step.name: step.title for step in motion.steps}
    return MotionTrial(
        motion=seen.motion,
        title=motion.title,
        ran=seen.stops_at is None,
        stopped_at=titles.get(seen.stops_at, seen.stops_at) if seen.stops_at else "",
        lamp=seen.lamp or "",
        at=one.at,
        by=one.by,
        steps=tuple(_step_time(step, state, seen.seconds.get(step.name)) for step, state in _states(motion, seen)),
        oil_c=seen.oil_c,
    )


def _states(motion: Motion, trial: Trial) -> Iterator[tuple[Step, StepState]]:
    stopped = False
    for step in motion.steps:
        if step.name == trial.stops_at:
            stopped = True
            yield step, "stopped"
        else:
            yield step, "not-reached" if stopped else "ended"


def _step_time(step: Step, state: StepState, seconds: float | None) -> StepTime:
    outcome = None if seconds is None else decide(seconds, step.limit_seconds, STOPWATCH_U_S)
    return StepTime(step.title, state, seconds, step.seconds, step.limit_seconds, outcome)


def holds(evidence: Evidence) -> tuple[Hold, ...]:
    """Every pressure hold, in order of time; none where the system declares no hydraulics."""
    hydraulics = evidence.system.hydraulics
    rows = []
    for one in evidence.seen:
        seen = one.observation
        if not isinstance(seen, PressureHold) or hydraulics is None:
            continue
        rows.append(
            Hold(
                position=seen.position,
                name=evidence.name(seen.position),
                bar_start=seen.bar_start,
                bar_end=seen.bar_end,
                seconds=seen.seconds,
                usual_loss_bar=usual_loss_bar(hydraulics.hold, seen.bar_start, seen.seconds),
                verdict=one.judgement.verdict,
                words=one.judgement.words,
                at=one.at,
                by=one.by,
                oil_c=seen.oil_c,
                least_leak_ml_min=least_leak_ml_min(evidence.system, seen) if one.finding else None,
                after_work=evidence.reworked(one),
            )
        )
    return tuple(rows)


def observed(evidence: Evidence) -> tuple[Observed, ...]:
    """Every check that is neither a pin reading, a motion trial nor a pressure hold."""
    rows = []
    for one in evidence.seen:
        if isinstance(one.observation, PinCheck | PinByHand | Trial | PressureHold):
            continue
        area = area_of(evidence.system, one.position)
        name = evidence.name(one.position) if one.position else _("Battery")
        verdict = "finding" if one.finding else one.judgement.verdict
        rows.append(Observed(area, one.position, name, plain_words(one), verdict, one.at, one.by))
    return tuple(rows)


def area_of(system: TopSystem, code: str) -> Area:
    position = system.positions.get(code)
    if position is None:
        return "electrical"
    if position.kind in HYDRAULIC:
        return "hydraulics"
    return "mechanism" if position.kind == "latch" else "electrical"


def work_done(evidence: Evidence, proven: Set[str]) -> tuple[WorkDone, ...]:
    """The work with what was seen afterwards at that position, up to the next work on it."""
    rows = []
    for done in evidence.work:
        later = next((w.at for w in evidence.work if w.position == done.position and w.at > done.at), None)
        after = [
            one for one in evidence.seen
            if one.position == done.position and one.at > done.at and (later is None or one.at <= later)
        ]  # fmt: skip
        words = [one.judgement.words for one in after]
        if later is None and done.position in proven:
            words.append(_("Seen both made and released at the module afterwards: proven."))
        row = WorkDone(done.position, evidence.name(done.position), done.kind_words, done.words, done.at, done.by)
        rows.append(replace(row, old_part=done.old_part, new_part=done.new_part, evidence=tuple(words)))
    return tuple(rows)
