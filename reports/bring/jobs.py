"""Tables of jobs. A job is known by its car and its reference, its number in the old records."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from reports.bring.base import Books, Cells, Doubled, cars_by_vin, cleaned, no_car_words
from reports.bring.write import link_to, rows_written
from reports.records.fates import Fate
from reports.records.values import lines, whole
from shop.errors import ShopError
from shop.models import Car, Hold, Job, OdometerReading, Stage, TrailEntry
from shop.words import day_words, km_words

MOST_KM = 5_000_000
_NOON = dt.time(12, 0)


@dataclass(frozen=True, slots=True)
class JobRow:
    vin: str
    reference: str
    title: str
    complaint: str
    opened_at: dt.datetime
    finished_at: dt.datetime | None
    km: int | None

    @property
    def key(self) -> tuple[str, str]:
        return self.vin, self.reference


class Jobs:
    def __init__(self, books: Books) -> None:
        self.by = books.by
        self.doubled: Doubled[tuple[str, str]] = Doubled()

    def parse(self, cells: Cells) -> JobRow:
        opened = moment(cells.reader.moment(cells.get("opened")))
        finished = moment(cells.reader.moment(cells.get("finished")))
        if opened is None:
            raise ShopError(_("The day on which the job was opened is missing."))
        if finished is not None and finished < opened:
            raise ShopError(_("The job is finished before it was opened."))
        km = whole(cells.get("odometer"))
        if km is not None and not 0 <= km <= MOST_KM:
            raise ShopError(_("An odometer of {km} cannot be; expected at most {most}.").format(km=km, most=MOST_KM))
        row = JobRow(
            vin=cells.vin(),
            reference=cells.needed("reference", _("reference")),
            title=cells.needed("title", _("title")),
            complaint=lines(cells.get("complaint")),
            opened_at=opened,
            finished_at=finished,
            km=km,
        )
        cleaned(Job(title=row.title, reference=row.reference), "title", "reference")
        return row

    def judge(self, batch: Sequence[tuple[int, JobRow]], *, write: bool) -> list[Fate]:
        cars = cars_by_vin([row.vin for _number, row in batch])
        jobs = {
            (job.car_id, job.reference): job
            for job in Job.objects.filter(
                car__in=list(cars.values()), reference__in={row.reference for _number, row in batch}
            ).select_related("car")
        }
        fates: list[Fate] = []
        new: list[tuple[Car, JobRow]] = []
        for number, row in batch:
            key, twice = f"{row.vin} {row.reference}", self.doubled.words(row.key, number)
            car = cars.get(row.vin)
            if twice or car is None:
                fates.append(Fate(number, "refused", key, twice or no_car_words(row.vin)))
            elif job := jobs.get((car.pk, row.reference)):
                fates.append(self._known(number, key, row, job, write=write))
            else:
                new.append((car, row))
                open_words = "" if row.finished_at else _("not finished: it will stand on the Floor")
                fates.append(Fate(number, "new", key, open_words))
        if write:
            self._write(new)
        return fates

    def _known(self, number: int, key: str, row: JobRow, job: Job, *, write: bool) -> Fate:
        """A job that was brought before: what the file states otherwise is changed. Finished stays finished."""
        now = {"title": row.title, "complaint": row.complaint or job.complaint, "opened_at": row.opened_at}
        if row.finished_at is not None:
            now["finished_at"] = row.finished_at
        changed = [name for name, value in now.items() if getattr(job, name) != value]
        if not changed:
            return Fate(number, "same", key)
        words = ", ".join(changed)
        if write:
            for name in changed:
                setattr(job, name, now[name])
            if job.is_open and job.finished_at is not None:
                job.stage, job.hold, job.hold_note = Stage.GONE, Hold.NOTHING, ""
            job.save()
            told = _("{number} changed from the old records: {fields}.").format(number=job.number, fields=words)
            rows_written(TrailEntry, [self._told(job.pk, job.car_id, "job.changed", told)])
        return Fate(number, "changed", key, words)

    def _write(self, new: Sequence[tuple[Car, JobRow]]) -> None:
        jobs = rows_written(Job, (self._job(car, row) for car, row in new))
        told = _("{number} brought from the old records ({reference}): {title}.")
        trail = []
        for pk, (car, row) in zip(jobs, new, strict=True):
            words = told.format(number=Job(pk=pk).number, reference=row.reference, title=row.title)
            trail.append(self._told(pk, car.pk, "job.brought", words))
        rows_written(TrailEntry, trail)
        self._write_odometer(new)

    def _job(self, car: Car, row: JobRow) -> dict[str, Any]:
        done = row.finished_at is not None
        return {
            "car_id": car.pk,
            "title": row.title,
            "complaint": row.complaint,
            "reference": row.reference,
            "stage": (Stage.GONE if done else Stage.HERE).value,
            "hold": (Hold.NOTHING if done else Hold.BENCH).value,
            "held_since": row.opened_at,
            "opened_at": row.opened_at,
            "opened_by_id": self.by.pk,
            "finished_at": row.finished_at,
        }

    def _write_odometer(self, new: Sequence[tuple[Car, JobRow]]) -> None:
        """Readings of days that have none yet; one a day is kept, the first."""
        wanted = {
            (car.pk, timezone.localdate(row.opened_at)): (car, row.km)
            for car, row in reversed(new)
            if row.km is not None
        }
        booked = OdometerReading.objects.filter(car__in={car for car, _row in new}).values_list("car_id", "read_on")
        for there in booked:
            wanted.pop(there, None)
        rows_written(
            OdometerReading,
            (
                {"car_id": pk, "km": km, "read_on": day, "entered_by_id": self.by.pk}
                for (pk, day), (_car, km) in wanted.items()
            ),
        )
        now, told = timezone.now(), _("Odometer: {km} on {day}.")
        rows_written(
            TrailEntry,
            (
                {
                    "at": now,
                    "by_id": self.by.pk,
                    "car_id": pk,
                    "kind": "odometer.added",
                    "words": told.format(km=km_words(km), day=day_words(day)),
                    "link": link_to(Car, pk),
                }
                for (pk, day), (_car, km) in wanted.items()
            ),
        )

    def _told(self, pk: int, car: int, kind: str, words: str) -> dict[str, Any]:
        link = link_to(Job, pk)
        now = timezone.now()
        return {"at": now, "by_id": self.by.pk, "car_id": car, "job_id": pk, "kind": kind, "words": words, "link": link}


def moment(day: dt.date | dt.datetime | None) -> dt.datetime | None:
    """A day of the old records as a moment: noon here. ShopError for one to come."""
    if day is None:
        return None
    at = day if isinstance(day, dt.datetime) else timezone.make_aware(dt.datetime.combine(day, _NOON))
    if timezone.localdate(at) > timezone.localdate():
        raise ShopError(_("{day} lies in the future.").format(day=day_words(at)))
    return at
