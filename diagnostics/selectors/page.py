"""What the bench sheet shows, as values: the pins in the order of the connector, suspects as bars, what moved them,
what to check next, what is proven."""

import json
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from django.db.models import Count
from django.utils.translation import gettext as _

from diagnostics.charts.words import made_in_words
from diagnostics.engine.bench_list import due_volts
from diagnostics.engine.case import MotionTrial, checks_of, observation_of
from diagnostics.engine.cautions import caution_words
from diagnostics.engine.changes import percent
from diagnostics.engine.motion import pin_state, pose_of
from diagnostics.engine.poses import pose_name, pose_words
from diagnostics.engine.results import Diagnosis, ProofState, Suspect, Ways
from diagnostics.engine.signals import judge
from diagnostics.engine.system.model import Pin, Position, TopSystem
from diagnostics.engine.system.series import partner_of, pin_of
from diagnostics.engine.told import complaint_sentences
from diagnostics.models import BenchSheet, Check, CheckKind, Work
from diagnostics.selectors.bench_list import supply_of
from diagnostics.selectors.changed import Changed, last_change
from diagnostics.selectors.earlier import Earlier, earlier_reads
from diagnostics.selectors.evidence import Evidence, evidence_of_rows, evidence_of_sheet, rows_of_sheet
from diagnostics.selectors.failure_model import LearnedPriors
from diagnostics.selectors.proof import owed
from diagnostics.selectors.suspects import OPEN_SUSPECT, diagnosis_of
from diagnostics.selectors.todos import (
    Contradiction,
    Surprising,
    Todo,
    contradictions_of,
    pose_token,
    surprising_of,
    todos_of,
)
from diagnostics.selectors.undo import Redo, redo_of, undo_of
from diagnostics.selectors.words import state_word

SHOWN_ENTRIES = 10
SHOWN_SUSPECTS = 6
TOLD_LEFT_OUT = 0.0005


@dataclass(frozen=True, slots=True)
class Gives:
    """What a sound sensor gives in the pose: its state, the word for it, and the volts that mean it."""

    state: str
    word: str
    volts: str


@dataclass(frozen=True, slots=True)
class Row:
    """One position on the sheet. `last`: the newest entry about it that counts for the pose; `others`: of every other
    kind the newest. `pin`: where it is read; `partner`: the other switch in series on that pin, '' where none is.
    `earlier`: what an earlier sheet of the car read there, where it differs from `last`."""

    code: str
    position: Position
    gives: Gives | None
    last: Check | None
    others: tuple[Check, ...]
    proof: ProofState | None
    takes: frozenset[str] = frozenset()
    pin: Pin | None = None
    partner: str = ""
    earlier: Earlier | None = None

    @property
    def is_twin(self) -> bool:
        """Whether it has no pin of its own and stands under the switch that it is wired in series with."""
        return self.position.in_series_with is not None

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
    def takes_hold(self) -> bool:
        return CheckKind.PRESSURE_HOLD in self.takes

    @property
    def cautions(self) -> tuple[str, ...]:
        return tuple(caution_words(caution) for caution in self.position.cautions)

    @property
    def colours(self) -> str:
        return "/".join(self.pin.colours) if self.pin else ""


@dataclass(frozen=True, slots=True)
class Bar:
    """`words`: the share for people, never a certainty; `percent` for the length of the bar. `range_words`: a
    production range that the car lies in, in which this fails more or less."""

    suspect: Suspect
    percent: int
    words: str
    is_open: bool
    range_words: str = ""


@dataclass(frozen=True, slots=True)
class SheetPage:
    """What stands on the page. Without a declared system only the entries are filled. `numbers`: key of an entry that
    is evidence -> its number in sentences; `undo`: the viewer's own last entry; `redo`: the one that they undid last;
    `left_out`: per cent of cars with more faults than are weighed; `timed`: steps of a motion were timed; `start`:
    what the suspects start from."""

    sheet: BenchSheet
    version: str
    entries: tuple[Check, ...]
    entries_left: int
    undo: Check | None
    numbers: Mapping[int, int] = field(default_factory=dict)
    redo: Redo | None = None
    system: TopSystem | None = None
    pose_words: str = ""
    pose_name: str = ""
    complaint_words: str = ""
    pins: tuple[Row, ...] = ()
    parts: tuple[Row, ...] = ()
    bars: tuple[Bar, ...] = ()
    nothing_wrong: str = ""
    left_out: float = 0.0
    changed: Changed | None = None
    todos: tuple[Todo, ...] = ()
    ways: Ways | None = None
    contradictions: tuple[Contradiction, ...] = ()
    surprising: Surprising | None = None
    warnings: tuple[str, ...] = ()
    owed: tuple[str, ...] = ()
    work: tuple[Work, ...] = ()
    timed: bool = False
    start: LearnedPriors = field(default_factory=LearnedPriors)

    @property
    def pose_token(self) -> str:
        """The pose as an entry carries it: by name where it has one, for a lighter page."""
        return self.pose_name or pose_token(self.sheet.pose)

    @property
    def lamps(self) -> tuple[tuple[str, str], ...]:
        return ("flashing", _("flashing")), ("steady", _("steady")), ("off", _("off"))

    @property
    def part_codes(self) -> frozenset[str]:
        return frozenset(row.code for row in self.parts)

    @property
    def unproven(self) -> int:
        return sum(1 for row in self.pins if row.proof is not None and not row.proof.proven)


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
    rows = rows_of_sheet(sheet)
    own = rows.checks if rows else sheet.checks.select_related("by", "struck_by").order_by("at", "pk")
    kept = [check for check in own if check.sheet_id == sheet.pk][::-1]
    entries = tuple(kept if all_entries else kept[:SHOWN_ENTRIES])
    page = SheetPage(sheet, version, entries, len(kept) - len(entries), undo_of(sheet, kept, viewer_pk))
    if rows is None or sheet.revision is None:
        return page
    evidence, sha256 = evidence_of_rows(rows), sheet.revision.sha256
    diagnosis = diagnosis_of(evidence, sha256)
    page = _with_suspects(page, evidence, diagnosis)
    return replace(
        page,
        changed=last_change(rows, evidence, diagnosis, sha256),
        redo=redo_of(sheet, evidence.system, kept, viewer_pk),
        pins=_pin_rows(sheet, evidence, kept),
        parts=_part_rows(evidence, kept),
    )


def _with_suspects(page: SheetPage, evidence: Evidence, diagnosis: Diagnosis) -> SheetPage:
    """The page with all that follows from the diagnosis alone."""
    sheet, system = page.sheet, evidence.system
    shown = frozenset(check.pk for check in page.entries)
    return replace(
        page,
        numbers={check.pk: number for number, check in enumerate(evidence.checks, start=1)},
        system=system,
        pose_words=pose_words(system, sheet.pose),
        pose_name=pose_name(system, sheet.pose),
        complaint_words=_complaint(evidence),
        bars=_bars(diagnosis, evidence.priors),
        start=evidence.priors,
        nothing_wrong=percent(diagnosis.nothing_wrong),
        left_out=100 * diagnosis.left_out if diagnosis.left_out >= TOLD_LEFT_OUT else 0.0,
        todos=todos_of(sheet, system, diagnosis),
        ways=diagnosis.ways if diagnosis.ways.words else None,
        contradictions=contradictions_of(sheet, evidence, diagnosis, shown),
        surprising=surprising_of(sheet, evidence, diagnosis.surprise, shown),
        warnings=diagnosis.warnings,
        timed=any(isinstance(one, MotionTrial) and one.seconds for one in evidence.case.observations),
        owed=owed(evidence),
        work=evidence.work,
    )


def _complaint(evidence: Evidence) -> str:
    """All that was told, for on all of it the suspects rest."""
    told = evidence.case.complaint
    return " ".join(complaint_sentences(evidence.system, told)) if told else ""


def gives(system: TopSystem, code: str, pose: Mapping[str, str], supply: float) -> Gives:
    """`supply` in volts: the limits in volts follow from the module's thresholds."""
    position = system.positions[code]
    state = pin_state(system, code, pose)
    shape = "place" if position.watches is not None else state
    return Gives(shape, state_word(state), due_volts(system, position, state, supply))


def _pin_rows(sheet: BenchSheet, evidence: Evidence, kept: Iterable[Check]) -> tuple[Row, ...]:
    system = evidence.system
    supply = supply_of(sheet, system)
    by_position, earlier = _by_position(kept), earlier_reads(sheet, system)
    proof = evidence.proof()
    rows = []
    for code, position in system.wired().items():
        checks = by_position.get(code, [])
        here = [check for check in checks if check.kind == CheckKind.PIN and _same_pose(system, check, sheet.pose)]
        last = here[0] if here else None
        row = Row(
            code=code,
            position=position,
            gives=gives(system, code, sheet.pose, supply) if position.pin else None,
            last=last,
            others=tuple(_newest_of_each([check for check in checks if check.kind != CheckKind.PIN])),
            proof=proof.get(code),
            takes=checks_of(system, code),
            pin=pin_of(system, code),
            partner=partner_of(system, code) or "",
            earlier=_otherwise(system, last, earlier.get((code, pin_state(system, code, sheet.pose)))),
        )
        rows.append(row)
    return tuple(rows)


def _otherwise(system: TopSystem, last: Check | None, earlier: Earlier | None) -> Earlier | None:
    """What was read earlier, where the pin reads otherwise now."""
    if last is None or earlier is None or last.verdict == "refused":
        return None
    return earlier if judge(system, observation_of(last.observation)).reads != earlier.reads else None


def _part_rows(evidence: Evidence, kept: Iterable[Check]) -> tuple[Row, ...]:
    system = evidence.system
    sensors = system.wired()
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


def _bars(diagnosis: Diagnosis, start: LearnedPriors) -> tuple[Bar, ...]:
    """All that hold the job up, and the next likeliest after them."""
    return tuple(
        Bar(
            suspect=suspect,
            percent=round(100 * suspect.probability),
            words=percent(suspect.probability),
            is_open=suspect.probability > OPEN_SUSPECT,
            range_words=_range_words(suspect, start),
        )
        for place, suspect in enumerate(diagnosis.suspects)
        if suspect.probability > OPEN_SUSPECT or (place < SHOWN_SUSPECTS and suspect.probability >= 0.005)
    )


def _range_words(suspect: Suspect, start: LearnedPriors) -> str:
    found = start.ranges.get((suspect.fault.position, suspect.fault.mode))
    return made_in_words(found) if found is not None else ""


def proof_rows(sheet: BenchSheet) -> tuple[Row, ...]:
    """Sensors of the sheet's system with their proof alone; empty where the system is not declared."""
    evidence = evidence_of_sheet(sheet)
    if evidence is None:
        return ()
    proof = evidence.proof()
    return tuple(Row(code, one, None, None, (), proof.get(code)) for code, one in evidence.system.wired().items())
