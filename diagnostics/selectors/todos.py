"""What to do next on a sheet: checks with the field that each is entered in, contradictions with the entry to make
again, the two ways to a fix."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.urls import reverse
from django.utils.translation import gettext as _

from diagnostics.engine.evidence import COMPLAINT
from diagnostics.engine.motion import pose_of
from diagnostics.engine.poses import differing, places_words, plain, pose_name
from diagnostics.engine.results import Conflict, Diagnosis, NextCheck, Surprise
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import partner_of
from diagnostics.models import BenchSheet, Check, CheckKind
from diagnostics.selectors.evidence import Evidence

SHOWN_NEXT = 4
SHOWN_CONFLICTS = 5

_TARGETS = {
    CheckKind.PIN: "volts-{0}",
    CheckKind.PIN_BY_HAND: "pressed-{0}",
    CheckKind.CLICK: "click-{0}",
    CheckKind.WIGGLE: "wiggle-{0}",
    CheckKind.CONTINUITY: "ohms-{0}",
    CheckKind.LOOK: "found-{0}",
    CheckKind.PRESSURE_HOLD: "hold-{0}",
    CheckKind.MOTION: "trial-{1}",
    CheckKind.BATTERY: "battery-volts",
}
"""Check -> id of the field it is entered in: {0} the position, {1} the motion."""
_UNFOLDED = frozenset({CheckKind.PIN, CheckKind.MOTION, CheckKind.BATTERY})
"""Checks whose fields stand on the page itself; those of the others come when their row is unfolded."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a check is entered. `field`: id of the field; `unfold`: the row to unfold first, '' where none is;
    `pose_token`: the pose to set first, '' when the car stands right; `pose_words`: that pose."""

    field: str
    unfold: str = ""
    pose_token: str = ""
    pose_words: str = ""


@dataclass(frozen=True, slots=True)
class Todo:
    check: NextCheck
    label: str
    name: str
    place: Place


@dataclass(frozen=True, slots=True)
class EntryLink:
    """An entry of the job and where it stands; `number` counts the entries that are evidence from 1, as sentences
    do."""

    number: int
    check: Check
    url: str


@dataclass(frozen=True, slots=True)
class Contradiction:
    """`again`: the entry to repeat, and where."""

    words: str
    entries: tuple[EntryLink, ...]
    again: EntryLink
    place: Place


@dataclass(frozen=True, slots=True)
class Surprising:
    """`entry` None: it is the complaint."""

    words: str
    entry: EntryLink | None


def todos_of(sheet: BenchSheet, system: TopSystem, diagnosis: Diagnosis) -> tuple[Todo, ...]:
    return tuple(_todo(sheet, system, check) for check in diagnosis.next_checks[:SHOWN_NEXT])


def _todo(sheet: BenchSheet, system: TopSystem, check: NextCheck) -> Todo:
    kind = CheckKind(check.check)
    position = system.positions.get(check.position)
    name = position.name if position else ""
    if check.motion:
        name = system.motions[check.motion].title  # type: ignore[index]
    elif kind == CheckKind.PIN_BY_HAND and (other := partner_of(system, check.position)) is not None:
        name = _("{name} (hold {other} pressed all the time)").format(name=name, other=other)
    pose: dict[str, Any] = pose_of(system, check.pose, base=sheet.pose) if check.pose is not None else {}
    place = place_of(sheet, system, kind, position=check.position, motion=check.motion or "", pose=pose)
    return Todo(check, str(kind.label), name, place)


def place_of(
    sheet: BenchSheet,
    system: TopSystem,
    kind: CheckKind,
    *,
    position: str = "",
    motion: str = "",
    pose: Mapping[str, str] | None = None,
) -> Place:
    """`pose`: every axis with its place, where the check needs one."""
    there = pose or {}
    stands = not there or there == sheet.pose
    return Place(
        field=_TARGETS[kind].format(position, motion),
        unfold="" if kind in _UNFOLDED else position,
        pose_token="" if stands else pose_token(there),
        pose_words="" if stands else _way_there(system, sheet.pose, there),
    )


def place_of_entry(sheet: BenchSheet, system: TopSystem, check: Check) -> Place:
    """Where an entry that stands could be made again."""
    told = check.observation
    pose = pose_of(system, told["pose"]) if told.get("pose") else None
    kind, motion = CheckKind(check.kind), str(told.get("motion", ""))
    return place_of(sheet, system, kind, position=check.position, motion=motion, pose=pose)


def pose_token(pose: Mapping[str, str]) -> str:
    """The pose as forms carry it: `axis:place,axis:place`."""
    return ",".join(f"{axis}:{place}" for axis, place in pose.items())


def _way_there(system: TopSystem, here: Mapping[str, str], there: Mapping[str, str]) -> str:
    """The pose to bring the top to: by name, or only what has to be moved."""
    return plain(pose_name(system, there)) or places_words(system, differing(here, there))


def contradictions_of(
    sheet: BenchSheet, evidence: Evidence, diagnosis: Diagnosis, shown: frozenset[int]
) -> tuple[Contradiction, ...]:
    """`shown`: keys of the checks that stand on the page itself."""

    def view(conflict: Conflict) -> Contradiction:
        entries = tuple(_entry(sheet, evidence, entry, shown) for entry in conflict.entries)
        again = _entry(sheet, evidence, conflict.repeat, shown)
        return Contradiction(conflict.words, entries, again, place_of_entry(sheet, evidence.system, again.check))

    return tuple(view(conflict) for conflict in diagnosis.conflicts[:SHOWN_CONFLICTS])


def surprising_of(
    sheet: BenchSheet, evidence: Evidence, surprise: Surprise | None, shown: frozenset[int]
) -> Surprising | None:
    if surprise is None:
        return None
    entry = None if surprise.entry == COMPLAINT else _entry(sheet, evidence, surprise.entry, shown)
    return Surprising(surprise.words, entry)


def _entry(sheet: BenchSheet, evidence: Evidence, entry: int, shown: frozenset[int]) -> EntryLink:
    check = evidence.checks[entry]
    page = "" if check.pk in shown else reverse("diagnostics:sheet", args=[check.sheet_id]) + "?entries=all"
    return EntryLink(entry + 1, check, f"{page}#check-{check.pk}")
