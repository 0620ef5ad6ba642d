"""Taking back one's own last entry, and entering it again."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, Check, CheckKind
from diagnostics.selectors.todos import Place, place_of_entry


@dataclass(frozen=True, slots=True)
class Redo:
    """An entry that its own author struck out, to be entered again: where, and `typed` as its form had it (field ->
    text). `place.pose_token` is set where the top stands otherwise now: the pose comes first."""

    check: Check
    place: Place
    typed: dict[str, str]


def undo_of(sheet: BenchSheet, newest_first: Iterable[Check], viewer_pk: int) -> Check | None:
    """The sheet's last entry that stands, if it is the viewer's own."""
    last = next((check for check in newest_first if check.struck_at is None), None)
    return last if last is not None and last.by_id == viewer_pk and sheet.closed_at is None else None


def redo_of(sheet: BenchSheet, system: TopSystem, newest_first: Iterable[Check], viewer_pk: int) -> Redo | None:
    """The entry that the viewer made and struck out last, as long as they have entered nothing since."""
    if sheet.closed_at is not None:
        return None
    own = [check for check in newest_first if check.by_id == viewer_pk]
    struck = [check for check in own if check.struck_at is not None and check.struck_by_id == viewer_pk]
    if not struck:
        return None
    check = max(struck, key=lambda one: (one.struck_at, one.pk))
    if any(one.at > check.struck_at for one in own if check.struck_at):
        return None
    return Redo(check, place_of_entry(sheet, system, check), typed_of(check))


def typed_of(check: Check) -> dict[str, str]:
    """The fields of the entry's form as they were typed; where a button was the answer there is nothing to type."""
    told: dict[str, Any] = check.observation
    typed = {"check": check.kind, "position": check.position}
    for name in ("volts", "pressed_volts", "released_volts", "ohms"):
        if told.get(name) is not None:
            typed[name] = f"{told[name]:g}"
    if check.kind == CheckKind.LOOK:
        typed["words"] = told["found"]
    if check.kind == CheckKind.MOTION:
        typed |= {"motion": told["motion"], "stops_at": told["stops_at"] or "whole", "lamp": told["lamp"] or ""}
        typed |= {f"seconds_{step}": f"{seconds:g}" for step, seconds in told["seconds"].items()}
        typed |= {f"stands_{axis}": place for axis, place in (told.get("stands") or {}).items()}
    return typed
