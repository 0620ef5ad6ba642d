"""What was not tested, computed from the system: everything that it has, less what was checked."""

from collections.abc import Iterator, Mapping

from diagnostics.engine.case import HELD, Battery, Continuity, Look, PinReading, PressureHold
from diagnostics.engine.case import MotionTrial as Trial
from diagnostics.engine.results import ProofState
from diagnostics.engine.words import _
from reports.document.compose.results import HYDRAULIC, area_of
from reports.document.compose.seen import Evidence
from reports.document.content import NotTested


def not_tested(evidence: Evidence, proof: Mapping[str, ProofState], planned: bool = False) -> tuple[NotTested, ...]:
    """Sensors, motions and their times, poses, other positions, hydraulics, seals, and what no check of ours covers.

    `planned`: an inspection plan asks for the last ones by itself.
    """
    return (
        *_sensors(evidence, proof),
        *_motions(evidence),
        *_poses(evidence),
        *_others(evidence),
        *_whole(evidence, planned),
    )


def _sensors(evidence: Evidence, proof: Mapping[str, ProofState]) -> Iterator[NotTested]:
    for code, position in evidence.system.wired().items():
        state = proof.get(code, ProofState(False, False))
        if state.proven:
            continue
        if state.made or state.released:
            why = _("Seen made only, not released.") if state.made else _("Seen released only, not made.")
        elif evidence.last_work(code) is not None:
            why = _("Worked on, and not read at the module afterwards.")
        else:
            why = _("Seen in neither state at the module.")
        yield NotTested("electrical", f"{code} {position.name}", why)


def _motions(evidence: Evidence) -> Iterator[NotTested]:
    last = evidence.last_trials()
    for name, motion in evidence.system.motions.items():
        one = last.get(name)
        if one is None:
            yield NotTested("motion", motion.title, _("Not tried."))
            continue
        trial = one.observation
        assert isinstance(trial, Trial)  # noqa: S101 - last_trials() holds motion trials only
        if trial.stops_at is not None:
            yield NotTested("motion", motion.title, _("Did not run to its end; nothing is said of the rest of it."))
        missing = [step.title for step in motion.steps if step.name not in trial.seconds]
        if missing and trial.stops_at is None:
            why = _("Ran, without a time for: {steps}.").format(steps=", ".join(missing))
            yield NotTested("motion", _("{motion}: times").format(motion=motion.title), why)


def _poses(evidence: Evidence) -> Iterator[NotTested]:
    read = {one.observation.pose for one in evidence.seen
            if isinstance(one.observation, PinReading) and isinstance(one.observation.pose, str)}  # fmt: skip
    as_places = [one.observation.pose for one in evidence.seen
                 if isinstance(one.observation, PinReading) and isinstance(one.observation.pose, dict)]  # fmt: skip
    for name, places in evidence.system.poses.items():
        if name not in read and not any(pose == places for pose in as_places):
            yield NotTested("electrical", _("Pose {pose}").format(pose=name), _("No pin was read in this pose."))


def _others(evidence: Evidence) -> Iterator[NotTested]:
    own = (Look, Continuity, PressureHold)
    looked = {one.position for one in evidence.seen if isinstance(one.observation, own)}
    battery = any(isinstance(one.observation, Battery) for one in evidence.seen)
    sensors = evidence.system.wired()
    for code, position in evidence.system.positions.items():
        if code in sensors or code in looked or (position.kind == "supply" and battery):
            continue
        why = _("No check of its own; judged only by the motions that it drives, where these were tried.")
        if position.kind in ("module", "supply"):
            why = _("No check of its own.")
        yield NotTested(area_of(evidence.system, code), f"{code} {position.name}", why)


def _holds(evidence: Evidence) -> Iterator[NotTested]:
    """Cylinders and pumps whose hold was not seen since the last work on them, the others being left in peace."""
    positions = evidence.system.positions
    if not any(position.kind in HYDRAULIC for position in positions.values()):
        return
    held = {
        code for code in positions if any(isinstance(one.observation, PressureHold) for one in evidence.current(code))
    }
    if not held:
        yield NotTested("hydraulics", _("Holding of pressure"), _("No pressure-hold test was made."))
        return
    for code, position in positions.items():
        if position.kind in HELD and code not in held:
            what = _("Holding of pressure: {where}").format(where=f"{code} {position.name}")
            yield NotTested("hydraulics", what, _("No pressure-hold test was made there."))


def _whole(evidence: Evidence, planned: bool) -> Iterator[NotTested]:
    """What an inspection of a top can cover and no check of a bench sheet does."""
    if not planned:
        yield from _holds(evidence)
        yield from _unplanned(evidence)
    yield NotTested(
        "whole", _("Everything that is not named in the results"), _("Not opened, not reached or not looked at.")
    )


def _unplanned(evidence: Evidence) -> Iterator[NotTested]:
    if not any(isinstance(one.observation, Battery) for one in evidence.seen):
        yield NotTested("electrical", _("Battery at rest"), _("Not measured."))
    yield NotTested("seals", _("Seals and drains"), _("No water test was made."))
    yield NotTested("mechanism", _("Play of the linkage, cover and trim"), _("Not measured."))
    yield NotTested("mechanism", _("Emergency closing"), _("Not tried."))
