"""What the bench sheet shows, as values: the pins in the order of the connector, suspects as bars, what to check
next, what is proven."""

import json
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.db.models import Count
from django.utils.translation import gettext as _

from diagnostics.engine.case import checks_of
from diagnostics.engine.cautions import caution_words
from diagnostics.engine.motion import pose_of, sensor_state
from diagnostics.engine.poses import differing, places_words, plain, pose_name, pose_words
from diagnostics.engine.results import Diagnosis, NextCheck, ProofState, Suspect
from diagnostics.engine.system.model import Position, TopSystem
from diagnostics.models import BenchSheet, Check, CheckKind, Work
from diagnostics.selectors.evidence import Evidence, evidence_of_sheet
from diagnostics.selectors.proof import motions_owed, repaired_paths
from diagnostics.selectors.suspects import OPEN_SUSPECT, diagnosis_of
from diagnostics.selectors.words import complaint_words, state_word

SHOWN_ENTRIES = 10
SHOWN_SUSPECTS = 6
SHOWN_NEXT = 4


@dataclass(frozen=True, slots=True)
class Gives:
    """What a sound sensor gives in the pose: its state, the word for it, and the volts that mean it."""

    state: str
    word: str
    volts: str


@dataclass(frozen=True, slots=True)
class Row:
    """One position on the sheet. `last`: the newest entry about it that counts for the pose; `others`: of every other
    kind the newest."""

    code: str
    position: Position
    gives: Gives | None
    last: Check | None
    others: tuple[Check, ...]
    proof: ProofState | None
    takes: frozenset[str] = frozenset()

    @property
    def takes_by_hand(self) -> bool:
        return CheckKind.PIN_BY_HAND in self.takes

    @property
    def takes_click(self) -> bool:
        return CheckKind.CLICK in self.takes

    @property
    def takes_wiggle(self) -> bool:
        return CheckKind.WIGGLE in self.takes

    @property
    def takes_ohms(self) -> bool:
        return CheckKind.CONTINUITY in self.takes

    @property
    def cautions(self) -> tuple[str, ...]:
        return tuple(caution_words(caution) for caution in self.position.cautions)

    @property
    def colours(self) -> str:
        return "/".join(self.position.pin.colours) if self.position.pin else ""


@dataclass(frozen=True, slots=True)
class Bar:
    suspect: Suspect
    percent: int
    is_open: bool


@dataclass(frozen=True, slots=True)
class Todo:
    """A check to make next. `target`: id of the field; `pose_token`: the pose to set first, '' when the car stands
    right."""

    check: NextCheck
    label: str
    name: str
    target: str
    pose_token: str
    pose_words: str


@dataclass(frozen=True, slots=True)
class SheetPage:
    """What stands on the page. Without a declared system only the entries are filled. `undo`: the viewer's own last
    entry."""

    sheet: BenchSheet
    version: str
    entries: tuple[Check, ...]
    entries_left: int
    undo: Check | None
    system: TopSystem | None = None
    pose_words: str = ""
    pose_name: str = ""
    complaint_words: str = ""
    pins: tuple[Row, ...] = ()
    parts: tuple[Row, ...] = ()
    bars: tuple[Bar, ...] = ()
    nothing_wrong: int = 0
    todos: tuple[Todo, ...] = ()
    warnings: tuple[str, ...] = ()
    owed: tuple[str, ...] = ()
    work: tuple[Work, ...] = ()

    @property
    def pose_token(self) -> str:
        """The pose as an entry carries it: by name where it has one, for a lighter page."""
        return self.pose_name or pose_token(self.sheet.pose)

    @property
    def lamps(self) -> tuple[tuple[str, str], ...]:
        return ("flashing", _("flashing")), ("steady", _("steady")), ("off", _("off"))

    @property
    def unproven(self) -> int:
        return sum(1 for row in self.pins if row.proof is not None and not row.proof.proven)


def pose_token(pose: Mapping[str, str]) -> str:
    """The pose as forms carry it: `axis:place,axis:place`."""
    return ",".join(f"{axis}:{place}" for axis, place in pose.items())


def sheet_version(sheet: BenchSheet) -> str:
    """Changes whenever anything on the sheet does. Two queries besides the sheet's own."""
    checks = Check.objects.filter(sheet__job_id=sheet.job_id).aggregate(made=Count("pk"), struck=Count("struck_at"))
    work = Work.objects.filter(job_id=sheet.job_id).count()
    state = [
        sheet.pose,
        sheet.supply_mv,
        sheet.ignition_on,
        sheet.complaint,
        sheet.recent_work,
        sheet.closed_at is not None,
    ]
    return f"{checks['made']}.{checks['struck']}.{work}.{zlib.crc32(json.dumps(state, sort_keys=True).encode()):08x}"


def sheet_page(sheet: BenchSheet, *, viewer_pk: int, all_entries: bool = False) -> SheetPage:
    """Everything that the page and its fragments show; about seven queries."""
    version = sheet_version(sheet)  # before the reads: a change in between makes the next poll fetch again
    evidence = evidence_of_sheet(sheet)
    kept = list(sheet.checks.select_related("by", "struck_by").order_by("-at", "-pk"))
    entries = tuple(kept if all_entries else kept[:SHOWN_ENTRIES])
    page = SheetPage(sheet, version, entries, len(kept) - len(entries), _undo(sheet, kept, viewer_pk))
    if evidence is None or sheet.revision is None:
        return page
    system = evidence.system
    diagnosis = diagnosis_of(evidence, sheet.revision.sha256)
    return replace(
        page,
        system=system,
        pose_words=pose_words(system, sheet.pose),
        pose_name=pose_name(system, sheet.pose),
        complaint_words=complaint_words(system, evidence.case.complaint),
        pins=_pin_rows(sheet, evidence, kept),
        parts=_part_rows(evidence, kept),
        bars=_bars(diagnosis),
        nothing_wrong=round(100 * diagnosis.nothing_wrong),
        todos=_todos(sheet, system, diagnosis),
        warnings=diagnosis.warnings,
        owed=_owed(evidence),
        work=evidence.work,
    )


def _undo(sheet: BenchSheet, kept: list[Check], viewer_pk: int) -> Check | None:
    last = next((check for check in kept if check.struck_at is None), None)
    return last if last is not None and last.by_id == viewer_pk and sheet.closed_at is None else None


def gives(system: TopSystem, position: Position, pose: Mapping[str, str], supply: float) -> Gives:
    """`supply` in volts: the limits in volts follow from the module's thresholds."""
    state = sensor_state(position, pose)
    pin = position.pin
    if pin is not None and pin.bands is not None:
        band = pin.bands.get(state)
        volts = _("{low:.1f} to {high:.1f} V").format(low=band[0] * supply, high=band[1] * supply) if band else ""
        return Gives("place", state_word(state), volts)
    low = (state == "made") == (pin is None or pin.made_reads == "low")
    share = system.module.low_share if low else system.module.high_share
    words = _("under {volts:.1f} V") if low else _("over {volts:.1f} V")
    return Gives(state, state_word(state), words.format(volts=share * supply))


def _owed(evidence: Evidence) -> tuple[str, ...]:
    paths = (path for path in repaired_paths(evidence) if not path.proven)
    return tuple(f"{path.position} {path.name}: {path.missing}" for path in paths) + motions_owed(evidence)


def _pin_rows(sheet: BenchSheet, evidence: Evidence, kept: Iterable[Check]) -> tuple[Row, ...]:
    system = evidence.system
    supply = sheet.supply_mv / 1000 if sheet.supply_mv else system.supply_v
    by_position = _by_position(kept)
    proof = evidence.proof()
    rows = []
    for code, position in system.sensors().items():
        checks = by_position.get(code, [])
        here = [check for check in checks if check.kind == CheckKind.PIN and _same_pose(system, check, sheet.pose)]
        last = here[0] if here else None
        others = tuple(_newest_of_each([check for check in checks if check.kind != CheckKind.PIN]))
        due = gives(system, position, sheet.pose, supply)
        rows.append(Row(code, position, due, last, others, proof.get(code), checks_of(system, code)))
    return tuple(rows)


def _part_rows(evidence: Evidence, kept: Iterable[Check]) -> tuple[Row, ...]:
    system = evidence.system
    sensors = system.sensors()
    by_position = _by_position(kept)
    return tuple(
        Row(
            code, position, None, None, tuple(_newest_of_each(by_position.get(code, []))), None, checks_of(system, code)
        )
        for code, position in system.positions.items()
        if code not in sensors
    )


def _by_position(kept: Iterable[Check]) -> dict[str, list[Check]]:
    found: dict[str, list[Check]] = {}
    for check in kept:
        if check.struck_at is None and check.position:
            found.setdefault(check.position, []).append(check)
    return found


def _newest_of_each(checks: Iterable[Check]) -> Iterable[Check]:
    seen: dict[str, Check] = {}
    for check in checks:
        seen.setdefault(check.kind, check)
    return seen.values()


def _same_pose(system: TopSystem, check: Check, pose: Mapping[str, str]) -> bool:
    return pose_of(system, check.observation["pose"]) == dict(pose)


def _bars(diagnosis: Diagnosis) -> tuple[Bar, ...]:
    """All that hold the job up, and the next likeliest after them."""
    return tuple(
        Bar(suspect, round(100 * suspect.probability), suspect.probability > OPEN_SUSPECT)
        for place, suspect in enumerate(diagnosis.suspects)
        if suspect.probability > OPEN_SUSPECT or (place < SHOWN_SUSPECTS and suspect.probability >= 0.005)
    )


_TARGETS = {
    CheckKind.PIN: "volts-{0}",
    CheckKind.PIN_BY_HAND: "pressed-{0}",
    CheckKind.CLICK: "click-{0}",
    CheckKind.WIGGLE: "wiggle-{0}",
    CheckKind.CONTINUITY: "ohms-{0}",
    CheckKind.LOOK: "found-{0}",
    CheckKind.MOTION: "trial-{1}",
    CheckKind.BATTERY: "battery-volts",
}
"""Check -> id of the field it is entered in: {0} the position, {1} the motion."""


def _todos(sheet: BenchSheet, system: TopSystem, diagnosis: Diagnosis) -> tuple[Todo, ...]:
    return tuple(_todo(sheet, system, check) for check in diagnosis.next_checks[:SHOWN_NEXT])


def _todo(sheet: BenchSheet, system: TopSystem, check: NextCheck) -> Todo:
    kind = CheckKind(check.check)
    position = system.positions.get(check.position)
    name = position.name if position else ""
    if check.motion:
        name = system.motions[check.motion].title  # type: ignore[index]
    pose: dict[str, Any] = pose_of(system, check.pose, base=sheet.pose) if check.pose is not None else {}
    stands = not pose or pose == sheet.pose
    return Todo(
        check=check,
        label=str(kind.label),
        name=name,
        target=_TARGETS[kind].format(check.position, check.motion or ""),
        pose_token="" if stands else pose_token(pose),
        pose_words=_way_there(system, sheet.pose, pose),
    )


def _way_there(system: TopSystem, here: Mapping[str, str], there: Mapping[str, str]) -> str:
    """The pose to bring the top to: by name, or only what has to be moved."""
    if not there:
        return ""
    return plain(pose_name(system, there)) or places_words(system, differing(here, there))


def proof_rows(sheet: BenchSheet) -> tuple[Row, ...]:
    """Sensors of the sheet's system with their proof alone; empty where the system is not declared."""
    evidence = evidence_of_sheet(sheet)
    if evidence is None:
        return ()
    proof = evidence.proof()
    return tuple(Row(code, one, None, None, (), proof.get(code)) for code, one in evidence.system.sensors().items())
