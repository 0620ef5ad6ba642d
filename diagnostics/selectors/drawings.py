"""Our own diagrams with what a sheet knows: the connector, the motions step by step, the top in the pose in which it
stands."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.translation import gettext as _

from diagnostics.engine.case import Complaint, MotionTrial, PinReading, observation_of
from diagnostics.engine.cautions import caution_for
from diagnostics.engine.drawing.connector import ConnectorPicture, PinSays, connectors
from diagnostics.engine.drawing.step_plan import PinRead, Seen
from diagnostics.engine.drawing.steps import StepDiagram, step_diagram
from diagnostics.engine.drawing.top import TopPicture, top_picture, view_of
from diagnostics.engine.motion import pin_state, pose_of
from diagnostics.engine.poses import place_words, plain, pose_words
from diagnostics.engine.results import Diagnosis
from diagnostics.engine.signals import judge
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import at_pin
from diagnostics.models import BenchSheet, CheckKind
from diagnostics.selectors.evidence import Evidence, evidence_of_sheet
from diagnostics.selectors.suspects import diagnosis_of
from diagnostics.selectors.words import state_word

TABS = ("connector", "motion", "top")


@dataclass(frozen=True, slots=True)
class PinLine:
    """A pin in the table beside the connector."""

    label: str
    code: str
    name: str
    colours: str
    says: PinSays


@dataclass(frozen=True, slots=True)
class AxisLine:
    title: str
    place: str


@dataclass(frozen=True, slots=True)
class SheetDrawings:
    """What one tab shows; without a declared system `system` is None and nothing is drawn."""

    tab: str
    system: TopSystem | None = None
    pose_words: str = ""
    connectors: tuple[ConnectorPicture, ...] = ()
    pins: tuple[PinLine, ...] = ()
    caution: str = ""
    motions: tuple[StepDiagram, ...] = ()
    top: TopPicture | None = None
    axes: tuple[AxisLine, ...] = ()


@dataclass(frozen=True, slots=True)
class NamedPicture:
    name: str
    picture: TopPicture


@dataclass(frozen=True, slots=True)
class SystemDrawings:
    """What a system looks like by its file alone. `poses` is empty where the file has no drawing."""

    connectors: tuple[ConnectorPicture, ...]
    motions: Mapping[str, StepDiagram]
    poses: tuple[NamedPicture, ...]


def system_drawings(system: TopSystem) -> SystemDrawings:
    view = view_of(system)
    pictures = ((name, top_picture(system, pose, view=view)) for name, pose in system.poses.items())
    return SystemDrawings(
        connectors=connectors(system),
        motions={motion: step_diagram(system, motion) for motion in system.motions},
        poses=tuple(NamedPicture(plain(name), picture) for name, picture in pictures if picture is not None),
    )


def sheet_drawings(sheet: BenchSheet, tab: str) -> SheetDrawings:
    """`tab` one of TABS; any other is the first. About five queries."""
    tab = tab if tab in TABS else TABS[0]
    evidence = evidence_of_sheet(sheet)
    if evidence is None or sheet.revision is None:
        return SheetDrawings(tab)
    system = evidence.system
    shown = SheetDrawings(tab, system, pose_words(system, sheet.pose))
    if tab == "motion":
        seen = _seen(evidence)
        motions = tuple(step_diagram(system, motion, seen.get(motion)) for motion in system.motions)
        return SheetDrawings(tab, system, shown.pose_words, motions=motions)
    if tab == "top":
        reported = {read.code: read.state for read in _reads(evidence) if read.pose == sheet.pose}
        axes = tuple(AxisLine(axis.title, place_words(sheet.pose[name])) for name, axis in system.axes.items())
        top = top_picture(system, sheet.pose, reported=reported)
        return SheetDrawings(tab, system, shown.pose_words, top=top, axes=axes)
    says = _says(sheet, evidence, diagnosis_of(evidence, sheet.revision.sha256))
    lines = tuple(
        PinLine(one.pin.label, code, one.name, "/".join(one.pin.colours), says[code])
        for code, one in system.sensors().items()
        if one.pin is not None
    )
    return SheetDrawings(
        tab,
        system,
        shown.pose_words,
        connectors=connectors(system, says),
        pins=lines,
        caution=caution_for(system, "pin", ()),
    )


def _says(sheet: BenchSheet, evidence: Evidence, diagnosis: Diagnosis) -> dict[str, PinSays]:
    """What each pin should give in the sheet's pose, what was last read there, and where to read next."""
    system = evidence.system
    kept = sheet.checks.filter(kind=CheckKind.PIN, struck_at__isnull=True).order_by("at", "pk")
    last = {check.position: check.verdict for check in kept if pose_of(system, check.observation["pose"]) == sheet.pose}
    first = diagnosis.next_checks[0] if diagnosis.next_checks else None
    due = at_pin(system, first.position) if first is not None and first.check in ("pin", "pin-by-hand") else ""
    return {
        code: PinSays(
            "place" if one.watches is not None else pin_state(system, code, sheet.pose),
            state_word(pin_state(system, code, sheet.pose)),
            last.get(code, ""),
            verdict_word(last.get(code, "")),
            code == due,
        )
        for code, one in system.sensors().items()
    }


def verdict_word(verdict: str) -> str:
    """The word of the verdict's tag."""
    words = {"ok": _("good"), "finding": _("finding"), "refused": _("no evidence"), "note": _("noted")}
    return words.get(verdict, "")


def _reads(evidence: Evidence) -> Iterable[PinRead]:
    """The newest reading of each pin in each pose, of the top as it is now."""
    newest: dict[tuple[str, str], PinRead] = {}
    for check in evidence.current:
        one = observation_of(check.observation)
        if isinstance(one, PinReading):
            pose = pose_of(evidence.system, one.pose)
            state = judge(evidence.system, one).reads
            if state:
                newest[one.position, repr(sorted(pose.items()))] = PinRead(one.position, pose, state)
    return newest.values()


def _seen(evidence: Evidence) -> dict[str, Seen]:
    """By motion: where it stopped by the complaint and in the last trial, the seconds of that trial, all readings."""
    reads = tuple(_reads(evidence))
    trials: dict[str, MotionTrial] = {}
    for check in evidence.current:
        one = observation_of(check.observation) if check.kind == CheckKind.MOTION else None
        if isinstance(one, MotionTrial):
            trials[one.motion] = one
    return {
        motion: Seen(_stalls(motion, evidence.case.complaint, trials.get(motion)), _seconds(trials, motion), reads)
        for motion in evidence.system.motions
    }


def _stalls(motion: str, complaint: Complaint | None, trial: MotionTrial | None) -> tuple[tuple[str, str], ...]:
    found = []
    if complaint is not None and complaint.motion == motion:
        found.append((complaint.stops_at, _("by the complaint")))
    if trial is not None and trial.stops_at is not None:
        found.append((trial.stops_at, _("in the last trial")))
    return tuple(found)


def _seconds(trials: Mapping[str, MotionTrial], motion: str) -> dict[str, float]:
    return dict(trials[motion].seconds) if motion in trials else {}
