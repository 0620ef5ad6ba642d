"""Books the invented lives into the database, in bulk.

The rows keep what the services keep: entries are judged by the engine, a replacement books one unit off and one on,
only one sheet a car is open, every change stands in the trail with its time. The services themselves would give
everything today's time and take a transaction each.
"""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from diagnostics.engine.case import observation_of
from diagnostics.engine.signals import judge
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, Check, SystemRevision, Unit, Work, WorkKind
from diagnostics.selectors.what_was_wrong import what_was_wrong_words
from diagnostics.services import sightings_refresh
from diagnostics.services.free import FreeReading, judge_free
from reports.demo.fleet import Scenario
from reports.demo.records import CarRecord, CheckRecord, JobRecord, SheetRecord, WorkRecord
from shop.models import Car, Customer, Job, JobNote, OdometerReading, Stage, TrailEntry, User
from shop.words import day_words, km_words

_SPACE = uuid.UUID("6f0c1f5e-5a0c-4c6e-9a53-1f7a6a6f2b10")
BATCH = 500


@dataclass(slots=True)
class Books:
    """Rows that wait to be written. Lists stay parallel to their records where both are named."""

    users: Mapping[str, User]
    systems: Mapping[str, tuple[SystemRevision, TopSystem]]
    pairs: list[tuple[Job, CarRecord, JobRecord]] = field(default_factory=list)
    trail: list[TrailEntry] = field(default_factory=list)

    def tell(
        self,
        at: datetime,
        who: str,
        kind: str,
        words: str,
        car: Car | None,
        job: Job | None = None,
        link: str = "",
        became: str = "",
    ) -> None:
        by = self.users[who] if who else None  # '': nobody of the shop
        self.trail.append(TrailEntry(at=at, by=by, kind=kind, words=words, car=car, job=job, link=link, became=became))


def write(
    scenario: Scenario, users: Mapping[str, User], systems: Mapping[str, tuple[SystemRevision, TopSystem]]
) -> list[tuple[Job, JobRecord]]:
    """All rows of the scenario, inside the caller's transaction; the jobs with their records, oldest first."""
    books = Books(users, systems)
    customers = Customer.objects.bulk_create([Customer(**one) for one in scenario.customers], BATCH)
    cars = Car.objects.bulk_create([_car(one, customers) for one in scenario.cars], BATCH)
    for car, record in zip(cars, scenario.cars, strict=True):
        books.pairs += [(_job(car, job, users), record, job) for job in record.jobs]
    # Job numbers follow the days on which the jobs were opened, as they would have.
    books.pairs.sort(key=lambda pair: (pair[2].opened_at, pair[1].vin))
    Job.objects.bulk_create([job for job, _car, _record in books.pairs], BATCH)
    _tell_jobs(books)
    _write_odometer(books)
    _write_notes(books)
    _write_benches(books)
    TrailEntry.objects.bulk_create(sorted(books.trail, key=lambda entry: entry.at), BATCH)
    sightings_refresh()
    return [(job, record) for job, _car, record in books.pairs]


def _car(record: CarRecord, customers: list[Customer]) -> Car:
    return Car(
        vin=record.vin,
        plate=record.plate,
        maker=record.maker,
        model=record.model,
        made_on=record.made_on,
        climate=record.climate,
        system=record.system,
        owner=customers[record.owner],
    )


def _job(car: Car, record: JobRecord, users: Mapping[str, User]) -> Job:
    return Job(
        car=car,
        title=record.title,
        complaint=record.complaint,
        stage=record.stage,
        hold=record.hold,
        hold_note=record.hold_note,
        held_since=record.stages[-1][1],
        opened_at=record.opened_at,
        opened_by=users["counter"],
        finished_at=record.finished_at,
        promised_on=record.promised_on,
    )


def _tell_jobs(books: Books) -> None:
    known: set[int] = set()
    for job, _record, record in books.pairs:
        car = job.car
        if car.pk not in known:
            known.add(car.pk)
            words = _("Taken into the books: {car}, VIN {vin}.").format(car=car, vin=car.vin)
            books.tell(record.opened_at, "counter", "car.created", words, car, link=car.get_absolute_url())
        link = job.get_absolute_url()
        words = _("{number} opened: {title}.").format(number=job.number, title=job.title)
        books.tell(record.opened_at, "counter", "job.opened", words, car, job, link, record.stages[0][0])
        for (old, _old_at), (new, at) in zip(record.stages, record.stages[1:], strict=False):
            words = _("{number}: {old} → {new}.").format(number=job.number, old=Stage(old).label, new=Stage(new).label)
            who = "counter" if new in ("here", "gone") else "tech"
            books.tell(at, who, "job.moved", words, car, job, link, new)


def _write_odometer(books: Books) -> None:
    # Two visits of a car on one day have one reading.
    once = {(job.car.pk, record.opened_at.date()): (job, record) for job, _car, record in books.pairs}
    readings = []
    for (_pk, day), (job, record) in once.items():
        readings.append(OdometerReading(car=job.car, read_on=day, km=record.km, entered_by=books.users["counter"]))
        words = _("Odometer: {km} on {day}.").format(km=km_words(record.km), day=day_words(day))
        books.tell(record.opened_at, "counter", "odometer.added", words, job.car, link=job.car.get_absolute_url())
    OdometerReading.objects.bulk_create(readings, BATCH)


def _write_notes(books: Books) -> None:
    notes = []
    for job, _car, record in books.pairs:
        if record.note:
            entries = record.sheet.entries if record.sheet else ()
            at = entries[-1].at if entries else record.stages[-1][1]
            notes.append(JobNote(job=job, words=record.note, by=books.users["tech"], at=at))
            books.tell(at, "tech", "job.noted", record.note, job.car, job, job.get_absolute_url())
    JobNote.objects.bulk_create(notes, BATCH)


def _write_benches(books: Books) -> None:
    """Sheets with their checks, work with its units."""
    on_bench = [(job, car, record.sheet) for job, car, record in books.pairs if record.sheet is not None]
    sheets = [_sheet(books, job, car, sheet) for job, car, sheet in on_bench]
    BenchSheet.objects.bulk_create(sheets, BATCH)
    checks: list[Check] = []
    for sheet, (job, car, record) in zip(sheets, on_bench, strict=True):
        checks += _checks(books, sheet, car, record)
        _tell_sheet(books, sheet, job, record)
    Check.objects.bulk_create(checks, BATCH)
    _write_work(books, on_bench)


def _sheet(books: Books, job: Job, car: CarRecord, record: SheetRecord) -> BenchSheet:
    return BenchSheet(
        job=job,
        car=job.car,
        revision=books.systems[car.system][0] if car.system else None,
        pose=record.pose,
        supply_mv=round(1000 * record.supply_volts),
        complaint=record.complaint,
        opened_by=books.users["tech"],
        opened_at=record.opened_at,
        closed_at=record.closed_at,
    )


def _tell_sheet(books: Books, sheet: BenchSheet, job: Job, record: SheetRecord) -> None:
    link = sheet.get_absolute_url()
    books.tell(record.opened_at, "tech", "sheet.opened", _("Opened a bench sheet."), job.car, job, link)
    if record.closed_at is not None:
        words = _("Closed the bench sheet with {count} checks that count.").format(count=len(record.checks))
        books.tell(record.closed_at, "tech", "sheet.closed", words, job.car, job, link)


def _checks(books: Books, sheet: BenchSheet, car: CarRecord, record: SheetRecord) -> Iterable[Check]:
    system = books.systems[car.system][1] if car.system else None
    for number, entry in enumerate(record.checks):
        kind, position, data, verdict, words = _judged(system, entry)
        yield Check(
            sheet=sheet,
            kind=kind,
            position=position,
            observation=data,
            verdict=verdict,
            words=words,
            entry_id=uuid.uuid5(_SPACE, f"{car.vin}:{record.opened_at.isoformat()}:{number}"),
            by=books.users["tech"],
            at=entry.at,
        )


def _judged(system: TopSystem | None, entry: CheckRecord) -> tuple[str, str, dict[str, Any], str, str]:
    if system is None:
        reading = FreeReading.model_validate(entry.observation)
        judgement = judge_free(reading)
        return reading.check, reading.label, reading.model_dump(mode="json"), judgement.verdict, judgement.words
    observation = observation_of(entry.observation)
    judgement = judge(system, observation)
    position = getattr(observation, "position", "")
    return observation.check, position, observation.model_dump(mode="json"), judgement.verdict, judgement.words


def _write_work(books: Books, on_bench: list[tuple[Job, CarRecord, SheetRecord]]) -> None:
    units: list[Unit] = []
    fitted: dict[tuple[int, str], Unit] = {}
    work: list[Work] = []
    for job, car, record in on_bench:
        system = books.systems[car.system][1] if car.system else None
        for entry in record.work:
            assert system is not None  # noqa: S101 - nobody repairs a top that is not declared in this story
            old = new = None
            if entry.kind == WorkKind.REPLACE:
                old, new = _exchange(job, system, entry, fitted, units)
            work.append(
                Work(
                    job=job,
                    position=entry.position,
                    kind=entry.kind,
                    mode=entry.mode,
                    words=entry.words,
                    old_unit=old,
                    new_unit=new,
                    by=books.users["tech"],
                    at=entry.at,
                )
            )
            books.tell(entry.at, "tech", "work.added", _work_words(system, entry), job.car, job, job.get_absolute_url())
    Unit.objects.bulk_create(units, BATCH)
    Work.objects.bulk_create(work, BATCH)


def _exchange(
    job: Job, system: TopSystem, entry: WorkRecord, fitted: dict[tuple[int, str], Unit], units: list[Unit]
) -> tuple[Unit, Unit]:
    """The unit that comes off (the original one gets its row now) and the one that goes on."""
    place = (job.car.pk, entry.position)
    day = entry.at.date()
    old = fitted.get(place)
    if old is None:
        old = Unit(car=job.car, position=entry.position, part=system.positions[entry.position].part)
        units.append(old)
    old.removed_on, old.removed_job, old.removed_why = day, job, entry.words
    new = Unit(
        car=job.car,
        position=entry.position,
        part=entry.part,
        revision=entry.revision,
        fitted_on=day,
        fitted_job=job,
    )
    units.append(new)
    fitted[place] = new
    return old, new


def _work_words(system: TopSystem, entry: WorkRecord) -> str:
    words = f"{entry.position} {system.positions[entry.position].name}: {WorkKind(entry.kind).label}"
    words += f" ({entry.part})" if entry.part else ""
    words += f", {what_was_wrong_words(entry.mode)}" if entry.mode else ""
    return words + (f". {entry.words}" if entry.words else "")
