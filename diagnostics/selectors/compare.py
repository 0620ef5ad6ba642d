"""This car's sheets side by side: what each pin, wire, motion and battery read then, and what it reads now."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from django.db.models import Count, Q, QuerySet
from django.utils.translation import gettext as _

from diagnostics.engine.case import MotionTrial, PinByHand, PinReading, observation_of
from diagnostics.engine.motion import pin_state, pose_of
from diagnostics.engine.results import Judgement
from diagnostics.engine.signals import judge
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, Check, CheckKind, Unit, Work, WorkKind
from diagnostics.selectors.systems import system_of
from diagnostics.selectors.words import state_word
from shop.words import day_words


@dataclass(frozen=True, slots=True)
class Seen:
    """One entry as it stands in a comparison. `value`: what was measured, with its unit; `contact`: contact
    resistance behind the pull-up."""

    check: Check
    reads: str
    verdict: str
    words: str
    value: str = ""
    contact: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One position in one view: the newest entry of each sheet. `between`: what was done there in between."""

    code: str
    name: str
    view: str
    then: Seen | None
    now: Seen | None
    between: tuple[str, ...] = ()
    note: str = ""

    @property
    def changed(self) -> bool:
        both = self.then is not None and self.now is not None
        return both and (self.then.reads, self.then.verdict) != (self.now.reads, self.now.verdict)  # type: ignore[union-attr]


@dataclass(frozen=True, slots=True)
class StepTime:
    """Seconds of one step then and now; None where nobody timed it."""

    motion: str
    step: str
    then: float | None
    now: float | None
    usual: tuple[float, float]

    @property
    def difference(self) -> float | None:
        return None if self.then is None or self.now is None else self.now - self.then


@dataclass(frozen=True, slots=True)
class Comparison:
    """`changed`, `same`, `times`: on both sheets; `one_side`, `timed_once`: on one of the two only. `sheets`: what can
    be compared with, newest first."""

    sheet: BenchSheet
    sheets: tuple[BenchSheet, ...]
    other: BenchSheet | None = None
    changed: tuple[Line, ...] = ()
    same: tuple[Line, ...] = ()
    one_side: tuple[Line, ...] = ()
    times: tuple[StepTime, ...] = ()
    timed_once: tuple[StepTime, ...] = ()
    note: str = ""


def earlier_sheets(sheet: BenchSheet) -> QuerySet[BenchSheet]:
    """Sheets of the car opened before this one that have an entry (`counted`), of other jobs too, newest first."""
    counted = Count("checks", filter=Q(checks__struck_at__isnull=True))
    sheets = BenchSheet.objects.filter(car_id=sheet.car_id, opened_at__lt=sheet.opened_at)
    return sheets.annotate(counted=counted).filter(counted__gt=0).select_related("job").order_by("-opened_at", "-pk")


def comparison_of(sheet: BenchSheet, other_pk: int | None = None) -> Comparison | None:
    """The sheet beside an earlier one of its car (`other_pk`; the newest where none is named); None where that one is
    none of them. About six queries."""
    sheets = tuple(earlier_sheets(sheet))
    if not sheets:
        return Comparison(sheet, ()) if other_pk is None else None
    other = next((one for one in sheets if other_pk in (None, one.pk)), None)
    if other is None:
        return None
    then_seen, now_seen, trials = _seen_on(sheet, other)
    lines = [
        _line(sheet, other, key, then_seen.get(key), now_seen.get(key)) for key in _in_order(sheet, then_seen, now_seen)
    ]
    lines = _with_work(sheet, lines)
    both = [line for line in lines if line.then and line.now]
    times = _times(sheet, other, *trials)
    return Comparison(
        sheet,
        sheets,
        other,
        changed=tuple(line for line in both if line.changed),
        same=tuple(line for line in both if not line.changed),
        one_side=tuple(line for line in lines if not (line.then and line.now)),
        times=tuple(step for step in times if step.difference is not None),
        timed_once=tuple(step for step in times if step.difference is None),
        note=_note(sheet, other),
    )


Key = tuple[str, str, str]
"""(position, kind of check, view): the view of a pin is what a sound sensor shows in the pose."""
Readings = dict[Key, Seen]
Times = dict[tuple[str, str], float]


def _system(sheet: BenchSheet) -> TopSystem | None:
    return system_of(sheet.revision) if sheet.revision else None


def _seen_on(sheet: BenchSheet, other: BenchSheet) -> tuple[Readings, Readings, tuple[Times, Times]]:
    """The newest entry of each view then and now, and the seconds of each step."""
    rows = Check.objects.filter(sheet__in=[sheet.pk, other.pk], struck_at__isnull=True).exclude(verdict="refused")
    seen: dict[int, Readings] = {sheet.pk: {}, other.pk: {}}
    times: dict[int, Times] = {sheet.pk: {}, other.pk: {}}
    systems = {sheet.pk: _system(sheet), other.pk: _system(other)}
    labels = _labels(systems[sheet.pk] or systems[other.pk])
    for check in rows.select_related("by").order_by("at", "pk"):
        system = systems[check.sheet_id]
        key, what = _declared(system, check) if system else _free(check, labels)
        seen[check.sheet_id][key] = what
        for step, seconds in check.observation.get("seconds", {}).items():
            times[check.sheet_id][check.observation["motion"], step] = seconds
    return seen[other.pk], seen[sheet.pk], (times[other.pk], times[sheet.pk])


def _labels(system: TopSystem | None) -> dict[str, str]:
    """Pin as printed on the connector -> position, so that readings from before the declaration find their place."""
    if system is None:
        return {}
    return {one.pin.label: code for code, one in system.positions.items() if one.pin is not None}


def _free(check: Check, labels: dict[str, str]) -> tuple[Key, Seen]:
    value = _volts(check.observation["volts"])
    key = labels.get(check.position, check.position), CheckKind.PIN.value, f"free:{check.observation.get('pose', '')}"
    return key, Seen(check, "", check.verdict, check.words, value)


def _declared(system: TopSystem, check: Check) -> tuple[Key, Seen]:
    observation = observation_of(check.observation)
    judgement = judge(system, observation)
    view, value = "", ""
    match observation:
        case PinReading(position=code, pose=pose, volts=volts):
            view, value = pin_state(system, code, pose_of(system, pose)), _volts(volts)
        case PinByHand(pressed_volts=pressed, released_volts=released):
            value = _("{pressed:g} / {released:g} V").format(pressed=pressed, released=released)
        case MotionTrial(motion=motion):
            view = motion
        case _ if "volts" in check.observation:
            value = _volts(check.observation["volts"])
        case _ if "ohms" in check.observation:
            ohms = check.observation["ohms"]
            value = _("open") if ohms is None else _("{ohms:g} Ω").format(ohms=ohms)
    reads = judgement.reads or _answer(check)
    seen = Seen(check, reads, judgement.verdict, judgement.words, value, _contact(judgement))
    return (check.position, check.kind, view), seen


def _answer(check: Check) -> str:
    """What an entry without a state says, to tell one from another: heard or not, what was found, where it stopped."""
    told = check.observation
    return str(next((told[name] for name in ("heard", "steady", "found", "stops_at") if name in told), ""))


def _volts(volts: float) -> str:
    return _("{volts:g} V").format(volts=volts)


def _contact(judgement: Judgement) -> str:
    ohms = judgement.contact_ohm
    return "" if ohms is None or judgement.reads == "released" else _("{ohms:.0f} Ω contact").format(ohms=ohms)


def _in_order(sheet: BenchSheet, then: Readings, now: Readings) -> list[Key]:
    """Positions in the order of the declaration, what it does not know after them, what has no position last."""
    system = _system(sheet)
    order = {code: place for place, code in enumerate(system.positions)} if system else {}
    keys = list(dict.fromkeys([*now, *then]))
    return sorted(keys, key=lambda key: (not key[0], order.get(key[0], len(order)), key[0]))


def _line(sheet: BenchSheet, other: BenchSheet, key: Key, then: Seen | None, now: Seen | None) -> Line:
    code, kind, view = key
    here, there = (system.positions.get(code) if system else None for system in (_system(sheet), _system(other)))
    note = ""
    if code and sheet.revision and here is None:
        note = _("This sheet’s revision has no such position.")
    elif code and other.revision and there is None:
        note = _("The earlier sheet’s revision has no such position.")
    elif here and there and here.name != there.name:
        note = _("Then: {name}.").format(name=there.name)
    name = here.name if here else there.name if there else ""
    return Line(code, name, _view_words(sheet, other, kind, view), then, now, note=note)


def _view_words(sheet: BenchSheet, other: BenchSheet, kind: str, view: str) -> str:
    if view.startswith("free:"):
        pose = view.removeprefix("free:")
        return _("Pin reading, {pose}").format(pose=pose) if pose else str(CheckKind.PIN.label)
    if kind == CheckKind.PIN:
        return _("Pin, where a sound one is {state}").format(state=state_word(view))
    if kind == CheckKind.MOTION:
        system = _system(sheet) or _system(other)
        return system.motions[view].title if system and view in system.motions else view
    return str(CheckKind(kind).label)


def _with_work(sheet: BenchSheet, lines: Iterable[Line]) -> list[Line]:
    """The lines with what was done at their positions between the two entries, or since the earlier one."""
    works = list(Work.objects.filter(job__car_id=sheet.car_id).select_related("new_unit"))
    booked = {work.new_unit_id for work in works}
    units = [
        unit for unit in Unit.objects.filter(car_id=sheet.car_id, fitted_on__isnull=False) if unit.pk not in booked
    ]
    return [replace(line, between=_between(line, works, units)) if line.then else line for line in lines]


def _between(line: Line, works: Iterable[Work], units: Iterable[Unit]) -> tuple[str, ...]:
    assert line.then is not None  # noqa: S101 - asked for lines that have one
    start: datetime = line.then.check.at
    end = line.now.check.at if line.now else None
    said = [
        _work_words(work)
        for work in works
        if work.position == line.code and start < work.at and (end is None or work.at <= end)
    ]
    for unit in units:
        fitted = unit.fitted_on
        if unit.position == line.code and fitted and start.date() < fitted and (end is None or fitted <= end.date()):
            said.append(_("new unit {part} fitted {day}").format(part=unit.part, day=day_words(fitted)))
    return tuple(said)


def _work_words(work: Work) -> str:
    day = day_words(work.at)
    if work.kind == WorkKind.REPLACE and work.new_unit is not None:
        return _("new unit {part} fitted {day}").format(part=work.new_unit.part, day=day)
    return _("{work}, {day}").format(work=work.get_kind_display(), day=day)


def _times(sheet: BenchSheet, other: BenchSheet, then: Times, now: Times) -> tuple[StepTime, ...]:
    """Steps that were timed on either sheet, in the order of the motion."""
    lines, known = [], {**then, **now}
    for system in (_system(sheet), _system(other)):
        for name, motion in (system.motions if system else {}).items():
            for step in motion.steps:
                key = (name, step.name)
                if known.pop(key, None) is not None:
                    lines.append(StepTime(motion.title, step.title, then.get(key), now.get(key), step.seconds))
    return tuple(lines)


def _note(sheet: BenchSheet, other: BenchSheet) -> str:
    """What makes the two sheets less than alike."""
    if sheet.revision_id == other.revision_id:
        return ""
    if other.revision is None:
        return _("Nobody had declared this top system then: readings stand at the position that has the pin now.")
    if sheet.revision is None:
        return _("This sheet has no declared top system: readings stand at the position that had the pin then.")
    words = _("The earlier sheet was judged by another declaration: {title}, revision {revision}.")
    return words.format(title=other.revision.title, revision=other.revision.revision)
