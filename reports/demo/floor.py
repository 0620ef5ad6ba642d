"""The cars in the shop today: one in every stage, one for everything that a job can wait for.

All of it happened by the eve of `today`, so that what people enter now comes after it.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo

from diagnostics.engine.results import Fault
from diagnostics.engine.simulate import Bench
from diagnostics.engine.system.model import TopSystem
from reports.demo import people
from reports.demo.jobs import at, kilometres, whole_job, workday
from reports.demo.life import Grown, month_back
from reports.demo.records import CarRecord, CheckRecord, JobRecord, SheetRecord, WorkRecord
from reports.demo.truth import Truth
from reports.demo.visit import Watch


@dataclass(frozen=True, slots=True)
class Slot:
    """A place on the floor: how far the job is, what it waits for, and how many days ago the car was taken in
    (booked)."""

    stage: str
    hold: str
    hold_note: str
    days: int


SLOTS = (
    Slot("booked", "bay", "comes as soon as the lift is free", 3),
    Slot("booked", "customer", "has not said which day suits", 6),
    Slot("booked", "nothing", "", 2),
    Slot("here", "bench", "", 1),
    Slot("here", "customer", "quote sent, no word yet", 4),
    Slot("here", "bay", "needs the bay with the high door", 2),
    Slot("tracing", "bench", "second meter out for calibration", 2),
    Slot("tracing", "nothing", "", 1),
    Slot("mending", "part", "ordered, two days", 5),
    Slot("mending", "part", "on back order with the maker", 12),
    Slot("mending", "customer", "wants to think about the price", 6),
    Slot("mending", "nothing", "", 3),
    Slot("proving", "bench", "", 4),
    Slot("proving", "nothing", "", 3),
    Slot("done", "customer", "to be collected", 5),
    Slot("done", "customer", "to be collected", 6),
)


def fill(waiting: Sequence[Grown], today: date, zone: tzinfo) -> None:
    """Give every slot to a car that would come next anyway; a car whose top still works comes for a booked service."""
    for slot, grown in zip(SLOTS, waiting, strict=False):
        eve = workday(today - timedelta(days=1), back=True)
        day = workday(eve - timedelta(days=slot.days), back=True)
        if slot.stage not in ("booked", "here") or grown.rng.random() < 0.7:
            grown.life.hurry(grown.noticed, day.toordinal() - 2.0)
        whole, mended = whole_job(grown.life, day, grown.rng, zone, inspection=False)
        grown.car.jobs.append(_so_far(whole, slot, at(eve, 16.5, zone)))
        if slot.stage == "done":
            grown.life.repair(mended, day.toordinal())


def _so_far(job: JobRecord, slot: Slot, latest: datetime) -> JobRecord:
    """The job as it stands now: stages after the slot's have not come, entries after it have not been made."""
    stages = _stages_so_far(job, slot.stage, latest)
    sheet = job.sheet
    if sheet is None or slot.stage in ("booked", "here"):
        sheet = None
    elif slot.stage == "done":
        sheet = _moved(sheet, latest)
    else:
        sheet = replace(_moved(sheet, latest), entries=_entries_so_far(sheet, slot.stage, latest), closed_at=None)
    return replace(
        job,
        stages=stages,
        sheet=sheet,
        hold=slot.hold,
        hold_note=slot.hold_note,
        promised_on=(latest + timedelta(days=2 + slot.days)).date(),
    )


def _stages_so_far(job: JobRecord, stage: str, latest: datetime) -> tuple[tuple[str, datetime], ...]:
    names = [name for name, _at in job.stages]
    # A top that needed no repair goes from tracing to proving: the slot's stage is entered all the same.
    stages = list(job.stages[: names.index(stage) + 1]) if stage in names else [*job.stages[:3], (stage, latest)]
    return tuple((name, min(moment, latest)) for name, moment in stages)


def _moved(sheet: SheetRecord, latest: datetime) -> SheetRecord:
    """The same sheet, moved back as a whole so that its last entry was made by `latest`."""
    late = max(timedelta(0), max((entry.at for entry in sheet.entries), default=latest) - latest)
    entries = tuple(replace(entry, at=entry.at - late) for entry in sheet.entries)
    closed = sheet.closed_at - late if sheet.closed_at else None
    return replace(sheet, opened_at=sheet.opened_at - late, closed_at=closed, entries=entries)


def _entries_so_far(sheet: SheetRecord, stage: str, latest: datetime) -> tuple[CheckRecord | WorkRecord, ...]:
    moved = _moved(sheet, latest)
    checks = [entry for entry in moved.checks if not entry.observation.get("after_work")]
    if stage == "tracing":
        return tuple(checks[: max(3, len(checks) // 2)])
    if stage == "mending":
        return tuple(checks)
    proving = [entry for entry in moved.checks if entry.observation.get("after_work")]
    return tuple(sorted([*checks, *moved.work, *proving[: len(proving) // 2]], key=lambda entry: entry.at))


def half_way_job(car: CarRecord, truth: Truth, system: TopSystem, today: date, zone: tzinfo) -> JobRecord:
    """Closing stops half way: complaint, trial and a few readings are in, the next check is not."""
    story = truth.half_way
    rng = random.Random(f"{truth.seed}:half-way")  # noqa: S311 - a story, no secret
    bench = Bench(system, [Fault(position, mode) for position, mode in story.faults], rng)
    day = workday(today - timedelta(days=1), back=True)
    watch = Watch(at(day, 15.2, zone), rng)
    opened = watch.now
    entries = [CheckRecord(watch.after(3), bench.battery())]
    trial = bench.try_motion(story.motion)
    entries.append(CheckRecord(watch.after(3), trial))
    entries += [CheckRecord(watch.after(1), bench.read(code)) for code in story.readings]
    complaint = {"motion": story.motion, "stops_at": trial["stops_at"], "lamp": trial["lamp"]}
    return JobRecord(
        kind="fault",
        title="Closing stops half way",
        complaint=story.words,
        opened_at=at(day, 8.4, zone),
        stages=(("booked", at(day, 8.4, zone)), ("here", at(day, 8.6, zone)), ("tracing", opened)),
        hold="nothing",
        hold_note="",
        km=kilometres(car, day),
        sheet=SheetRecord(opened, None, complaint, dict(bench.pose), bench.supply, tuple(entries)),
        promised_on=today + timedelta(days=3),
        note="Stopped half way again on the bench. Readings at the module begun; go on there.",
    )


def undeclared_car(today: date, zone: tzinfo) -> CarRecord:
    """A car whose top system nobody has declared: its sheet keeps readings by connector and pin."""
    rng = random.Random("undeclared")  # noqa: S311
    made_on = month_back(today, 33)
    maker, model, code = people.MODELS[""][0]
    car = CarRecord(
        vin=people.invent_vin(rng, code, made_on, 91),
        plate=people.invent_plate(rng, 91),
        maker=maker,
        model=model,
        made_on=made_on,
        climate="cold",
        system="",
        owner=1,
    )
    day = workday(today - timedelta(days=2), back=True)
    opened = at(day, 10, zone)
    watch = Watch(opened, rng)
    reading = {"check": "pin", "connector": "XG1", "row": "A", "pose": "top closed", "supply_volts": 12.7}
    entries = tuple(
        CheckRecord(watch.after(2), reading | {"number": number, "volts": volts})
        for number, volts in ((1, 0.08), (2, 12.55), (3, 0.11), (4, 12.6))
    )
    car.jobs.append(
        JobRecord(
            kind="fault",
            title="Top opens a hand's breadth and stops",
            complaint="Since the car stood outside for the winter.",
            opened_at=at(day, 8.2, zone),
            stages=(("booked", at(day, 8.2, zone)), ("here", at(day, 8.5, zone)), ("tracing", opened)),
            hold="bench",
            hold_note="top system not declared yet",
            km=kilometres(car, day),
            sheet=SheetRecord(opened, None, {}, {}, 12.7, entries),
            note="First car of this kind here. Readings kept by connector and pin.",
        )
    )
    return car
