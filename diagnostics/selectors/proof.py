"""Proof: which switches have been seen both made and released, and which repaired paths are proven again.

What proves a repaired path, by the kind of its position:

- a sensor: its pin seen made and released after the last work at it, and not only by hand where its trigger was
  adjusted: pressed by hand it reads right wherever the trigger stands (in poses, or in whole motions that wait for it).
  Of two switches in series only what tells of the one that was worked on (`engine/proof.py`);
- a cylinder, pump, motor, valve or latch: every motion that it drives has run whole after the last work of the job;
  a cylinder or pump that leaked (seen, or by a pressure hold) besides holds pressure after the last work at it;
- the module, or a control switch without a pin: both motions have run whole after the last work of the job;
- the supply: the last battery reading is judged good, after the last work at it.

Whatever was worked on, a motion that was complained of, or that stopped in a trial, must run whole after the last work.
"""

from collections.abc import Collection
from dataclasses import dataclass

from diagnostics.engine.case import checks_of
from diagnostics.engine.motion import MADE, RELEASED
from diagnostics.engine.poses import level_words
from diagnostics.engine.proof import trigger_brings
from diagnostics.engine.results import ProofState
from diagnostics.engine.system.model import ACTUATORS, TopSystem
from diagnostics.engine.system.series import at_pin, partner_of
from diagnostics.engine.words import _
from diagnostics.models import BenchSheet, Check, CheckKind, WorkKind
from diagnostics.selectors.evidence import Evidence, evidence_of_sheet
from diagnostics.selectors.history import sheet_of_job
from diagnostics.selectors.suspects import diagnosis_of, open_suspects
from diagnostics.selectors.systems import system_for_car
from shop.models import Job


@dataclass(frozen=True, slots=True)
class RepairedPath:
    """A path that the job's work touched. `missing` says in words what still has to be seen; empty when proven."""

    position: str
    name: str
    missing: str

    @property
    def proven(self) -> bool:
        return not self.missing


def proof_of_job(job: Job) -> dict[str, ProofState]:
    """Sensor -> seen made, seen released, after the last work on its path; empty where there is no sheet or no
    declared system."""
    sheet = sheet_of_job(job)
    evidence = evidence_of_sheet(sheet) if sheet else None
    return evidence.proof() if evidence else {}


def repaired_paths_of_job(job: Job) -> tuple[RepairedPath, ...]:
    """Every path that was worked on in this job, in the order of the work."""
    sheet = sheet_of_job(job)
    evidence = evidence_of_sheet(sheet) if sheet else None
    return repaired_paths(evidence) if evidence else _unread_paths(job)


def repaired_paths(evidence: Evidence) -> tuple[RepairedPath, ...]:
    positions = dict.fromkeys(work.position for work in evidence.work)
    proof = evidence.proof()
    paths = [RepairedPath(code, _name(evidence.system, code), _missing(evidence, code, proof)) for code in positions]
    return tuple(paths)


def motions_owed(evidence: Evidence) -> tuple[str, ...]:
    """Motions that stopped before the work and have not run whole since; sentences."""
    if not evidence.work:
        return ()
    told = {evidence.case.complaint.motion} if evidence.case.complaint else set()
    owed = (evidence.stopped | told) - _ran_whole(evidence)
    words = _("“{motion}” stopped before the work and has not been seen to run whole since: run a motion trial.")
    motions = sorted(evidence.system.motions.items())
    return tuple(words.format(motion=motion.title) for name, motion in motions if name in owed)


def owed(evidence: Evidence, *, but: Collection[str] = ()) -> tuple[str, ...]:
    """What still has to be seen after the work, a sentence each: paths, without those at the positions `but`, and
    motions."""
    paths = (path for path in repaired_paths(evidence) if not path.proven and path.position not in but)
    return (*(f"{path.position} {path.name}: {path.missing}" for path in paths), *motions_owed(evidence))


def reasons_not_done(job: Job) -> list[str]:
    """Why the job cannot be called done, as far as the bench knows; one sentence a reason."""
    last = sheet_of_job(job)
    now = evidence_of_sheet(last) if last else None
    judged = [(last, now)] if last and now and not now.is_empty else []
    reasons: list[str] = []
    for sheet, evidence in [*judged, *_evidence_before(job, last)]:
        assert sheet.revision is not None  # noqa: S101 - evidence needs one
        suspects = open_suspects(diagnosis_of(evidence, sheet.revision.sha256))
        reasons += [
            _("Open suspect: {words} ({percent} %).").format(
                words=suspect.words.rstrip("."), percent=round(100 * suspect.probability)
            )
            for suspect in suspects
        ]
        reasons += motions_owed(evidence)
    paths = repaired_paths(now) if now else _unread_paths(job)
    return reasons + [_path_words(path) for path in paths if not path.proven]


def _evidence_before(job: Job, last: BenchSheet | None) -> list[tuple[BenchSheet, Evidence]]:
    """Where the car was given another top system meanwhile: what was seen under the one before, which nobody has taken
    back."""
    sheets = BenchSheet.objects.filter(job=job, revision__isnull=False).select_related("revision", "car")
    last_of_each: dict[int | None, BenchSheet] = {}
    for sheet in sheets.order_by("-opened_at", "-pk"):
        last_of_each.setdefault(sheet.revision_id, sheet)
    if last is not None:
        last_of_each.pop(last.revision_id, None)
    found = [(sheet, evidence_of_sheet(sheet)) for sheet in last_of_each.values()]
    return [
        (sheet, evidence) for sheet, evidence in found if evidence is not None and (evidence.checks or evidence.stopped)
    ]


def _path_words(path: RepairedPath) -> str:
    subject = f"{path.position} {path.name}".strip()
    return _("Repaired and not proven: {subject}. {missing}").format(subject=subject, missing=path.missing)


def _unread_paths(job: Job) -> tuple[RepairedPath, ...]:
    """Paths of a job with no sheet on a declared system: nothing has been seen of them."""
    if system_for_car(job.car):
        missing = _("Open a bench sheet and check it after the work.")
    else:
        missing = _("The top system is not declared, so nothing here can prove it: the owner of the shop decides.")
    positions = dict.fromkeys(job.work.values_list("position", flat=True))
    return tuple(RepairedPath(position, "", missing) for position in positions)


def _name(system: TopSystem, code: str) -> str:
    return system.positions[code].name if code in system.positions else ""


def _ran_whole(evidence: Evidence) -> set[str]:
    """Motions that ran whole after the last work of the job."""
    trials = [check.observation for check in evidence.current if check.kind == CheckKind.MOTION]
    last = {
        trial["motion"]: trial["stops_at"] for trial in trials
    }  # in order of entry: the last trial of a motion counts
    return {motion for motion, stops_at in last.items() if stops_at is None}


def _missing(evidence: Evidence, code: str, proof: dict[str, ProofState]) -> str:
    if code in proof:
        return _missing_states(evidence.system, code, proof[code]) or _missing_trigger(evidence, code)
    position = evidence.system.positions.get(code)
    kind = position.kind if position else ""
    if kind == "supply":
        read = [check.verdict for check in evidence.current if check.kind == CheckKind.BATTERY]
        return "" if read[-1:] == ["ok"] else _("Read the battery at rest.")
    needed = _motions_driven_by(evidence.system, code) if kind in ACTUATORS else {"open", "close"}
    missing = sorted(needed - _ran_whole(evidence))
    if not missing:
        return _missing_hold(evidence, code)
    titles = ", ".join(evidence.system.motions[motion].title for motion in missing)  # type: ignore[index]
    words = _("Run a whole motion trial: {motions}.").format(motions=titles)
    return f"{words} {_missing_hold(evidence, code)}".strip()


def _missing_hold(evidence: Evidence, code: str) -> str:
    """What a leak that was found at a position still asks for, or ''."""
    if code not in evidence.system.positions or CheckKind.PRESSURE_HOLD not in checks_of(evidence.system, code):
        return ""
    leaked = any(check.position == code and _is_leak(check) for check in evidence.checks)
    held = [one for one in evidence.current if one.position == code and one.kind == CheckKind.PRESSURE_HOLD]
    if not leaked or [one.verdict for one in held[-1:]] == ["ok"]:
        return ""
    return _("It leaked: hold it under pressure again.")


def _is_leak(check: Check) -> bool:
    if check.kind == CheckKind.LOOK:
        return bool(check.observation["found"] == "leaks")
    return check.kind == CheckKind.PRESSURE_HOLD and check.verdict == "finding"


def _missing_trigger(evidence: Evidence, code: str) -> str:
    if not any(work.position == code and work.kind == WorkKind.ADJUST for work in evidence.work):
        return ""
    in_poses, awaited = evidence.proof(by_hand=False)[code], waited_for(evidence, code)
    missing = [
        level_words(state)
        for state, seen in ((MADE, in_poses.made), (RELEASED, in_poses.released))
        if not seen and state not in awaited and state in trigger_brings(evidence.system, code)
    ]
    words = _("By hand its trigger is not proven: run a whole motion that waits for it, or read its pin {states}.")
    return words.format(states=_(" and ").join(missing)) if missing else ""


def waited_for(evidence: Evidence, code: str) -> set[str]:
    """The states of a sensor that motions which have run whole after the last work waited for: the module saw them.
    Two switches in series it sees made only together, and released whichever lets go: that shows neither."""
    first = at_pin(evidence.system, code)
    steps = (step for name in _ran_whole(evidence) for step in evidence.system.motions[name].steps)  # type: ignore[index]
    seen = {when[first] for step in steps for when in (step.starts_when, step.ends_when) if first in when}
    return seen - {RELEASED} if partner_of(evidence.system, code) else seen


def _missing_states(system: TopSystem, code: str, state: ProofState) -> str:
    if state.proven:
        return ""
    other = partner_of(system, code)
    if other is not None and not state.released:
        return _("Read its pin by hand, {other} held pressed: made and released.").format(other=other)
    if not state.made and not state.released:
        return _("Read its pin made and released.")
    return _("Read its pin released.") if state.made else _("Read its pin made.")


def _motions_driven_by(system: TopSystem, code: str) -> set[str]:
    driven = {name for name, motion in system.motions.items() if any(code in step.driven_by for step in motion.steps)}
    return set(driven) or set(system.motions)
