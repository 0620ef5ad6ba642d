"""Tables of checks: each becomes an entry on a closed bench sheet of its job and day, judged as a new one would be.

An entry of a car whose system is not declared stays a free reading. An entry never changes, so a row that says another
thing is another entry.
"""

import datetime as dt
import json
import re
import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count
from django.utils.translation import gettext as _

from diagnostics.engine.case import MOST_OBSERVATIONS
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, Check, CheckKind, SystemRevision
from diagnostics.selectors.systems import newest_revisions, system_of
from diagnostics.services.checks import judged
from reports.bring.base import Books, Cells, Doubled, cars_by_vin
from reports.bring.jobs import moment
from reports.bring.said import said_of
from reports.bring.write import rows_written
from reports.records.fates import Fate
from shop.errors import ShopError
from shop.models import Job

_SPACE = uuid.UUID("0b9f1d3c-6a55-4d0e-9a54-7f2f6f0c6b1e")
_SHEET_COLUMNS = ("job_id", "car_id", "revision_id", "opened_by_id", "opened_at", "closed_at")
_PIN = re.compile(r"([A-Z0-9]{1,5})[/.: ]([A-Z]?)(\d{1,2})", re.ASCII)


@dataclass(frozen=True, slots=True)
class CheckRow:
    """`observation` as in a case file, as far as the row says it."""

    vin: str
    reference: str
    at: dt.datetime
    observation: dict[str, Any]

    @property
    def entry_id(self) -> uuid.UUID:
        # What a row says, never how a system takes it: brought again after the system was declared it is the same row.
        said = json.dumps(self.observation, sort_keys=True)
        return uuid.uuid5(_SPACE, "|".join((self.vin, self.reference, self.at.date().isoformat(), said)))


class Checks:
    def __init__(self, books: Books) -> None:
        self.by = books.by
        self.doubled: Doubled[uuid.UUID] = Doubled()
        self.counts: Counter[int] = Counter()
        self.counted: set[int] = set()
        self.revisions: dict[str, SystemRevision] = {row.slug: row for row in newest_revisions()}

    def parse(self, cells: Cells) -> CheckRow:
        at = moment(cells.reader.day(cells.get("date")))
        if at is None:
            raise ShopError(_("The day of the check is missing."))
        observation = said_of(cells)
        return CheckRow(cells.vin(), cells.needed("reference", _("reference")), at, observation)

    def judge(self, batch: Sequence[tuple[int, CheckRow]], *, write: bool) -> list[Fate]:
        jobs = self._jobs(batch)
        there = set(
            Check.objects.filter(entry_id__in=[row.entry_id for _number, row in batch]).values_list(
                "entry_id", flat=True
            )
        )
        fates: list[Fate] = []
        new: list[tuple[BenchSheet, CheckRow, tuple[str, str, dict[str, Any], Any]]] = []
        for place, row in batch:
            key = f"{row.vin} {row.reference} {row.observation.get('position', row.observation['check'])}"
            twice = self.doubled.words(row.entry_id, place)
            job = jobs.get((row.vin, row.reference))
            if twice or job is None:
                fates.append(Fate(place, "refused", key, twice or _no_job_words(row)))
            elif row.entry_id in there:
                fates.append(Fate(place, "same", key))
            else:
                sheet = self._sheet(job, row)
                try:
                    self._room(job)
                    said = judged(sheet, self._fitting(sheet, row))
                except ShopError as error:
                    fates.append(Fate(place, "refused", key, error.words))
                    continue
                new.append((sheet, row, said))
                fates.append(Fate(place, "new", key, said[3].words))
        if write:
            self._write(new)
        return fates

    def _jobs(self, batch: Sequence[tuple[int, CheckRow]]) -> dict[tuple[str, str], Job]:
        """The jobs by VIN and reference; how many entries each has is counted on the way."""
        cars = cars_by_vin([row.vin for _number, row in batch])
        wanted = {row.reference for _number, row in batch}
        rows = Job.objects.filter(car__in=list(cars.values()), reference__in=wanted).select_related("car")
        by_car = {(job.car_id, job.reference): job for job in rows.annotate(entries=Count("sheets__checks"))}
        for job in by_car.values():
            if job.pk not in self.counted:
                self.counted.add(job.pk)
                self.counts[job.pk] += job.entries
        asked = {(row.vin, row.reference) for _number, row in batch}
        return {
            (vin, ref): by_car[cars[vin].pk, ref] for vin, ref in asked if vin in cars and (cars[vin].pk, ref) in by_car
        }

    def _room(self, job: Job) -> None:
        self.counts[job.pk] += 1
        if self.counts[job.pk] > MOST_OBSERVATIONS:
            words = _("The job takes no more than {count} entries.")
            raise ShopError(words.format(count=MOST_OBSERVATIONS))

    def _sheet(self, job: Job, row: CheckRow) -> BenchSheet:
        return BenchSheet(
            job=job,
            car=job.car,
            revision=self.revisions.get(job.car.system) if job.car.system else None,
            opened_by=self.by,
            opened_at=row.at,
            closed_at=row.at,
        )

    def _fitting(self, sheet: BenchSheet, row: CheckRow) -> dict[str, Any]:
        """The observation as the car's system, or a free reading, takes it. ShopError where something is not said."""
        said = dict(row.observation)
        if sheet.revision is not None:
            if said["check"] == CheckKind.PIN and not said.get("pose"):
                told = _("A pin reading says something in a pose only; expected one of: {poses}.")
                raise ShopError(told.format(poses=", ".join(system_of(sheet.revision).poses)))
            return _steps_named(said, system_of(sheet.revision)) if said["check"] == CheckKind.MOTION else said
        if said["check"] != CheckKind.PIN:
            raise ShopError(_("The car’s top system is not declared: only pin readings are kept of it."))
        match = _PIN.fullmatch(said.pop("position"))
        if match is None:
            told = _("The car’s top system is not declared: a reading is kept by connector and pin, such as XG1/A3.")
            raise ShopError(told)
        return said | {"connector": match[1], "row": match[2], "number": int(match[3]), "pose": said.get("pose", "")}

    def _write(self, new: Sequence[tuple[BenchSheet, CheckRow, tuple[str, str, dict[str, Any], Any]]]) -> None:
        """Entries on the sheets of their jobs and days, with those sheets where the books have none yet."""
        wanted = {(sheet.job_id, sheet.opened_at): sheet for sheet, _row, _said in new}
        known = BenchSheet.objects.filter(
            job__in={job for job, _at in wanted}, opened_at__in={at for _job, at in wanted}, closed_at__isnull=False
        )
        keys = {(sheet.job_id, sheet.opened_at): sheet.pk for sheet in known}
        fresh = {key: sheet for key, sheet in wanted.items() if key not in keys}
        rows = ({name: getattr(sheet, name) for name in _SHEET_COLUMNS} for sheet in fresh.values())
        keys |= dict(zip(fresh, rows_written(BenchSheet, rows), strict=True))
        rows_written(
            Check,
            (
                {
                    "sheet_id": keys[sheet.job_id, sheet.opened_at],
                    "kind": said[0],
                    "position": said[1],
                    "observation": said[2],
                    "verdict": said[3].verdict,
                    "words": said[3].words,
                    "entry_id": row.entry_id,
                    "by_id": self.by.pk,
                    "at": row.at,
                }
                for sheet, row, said in new
            ),
        )
        BenchSheet.objects.filter(pk__in=list(keys.values())).update(sighted=False)


def _steps_named(said: dict[str, Any], system: TopSystem) -> dict[str, Any]:
    """A motion trial with its steps by name, where the table has their titles."""
    steps = system.motions[said["motion"]].steps
    names = {words.casefold(): step.name for step in steps for words in (step.title, step.name)}
    stops_at = said["stops_at"] and names.get(said["stops_at"].casefold(), said["stops_at"])
    seconds = {names.get(step.casefold(), step): seconds for step, seconds in said["seconds"].items()}
    return said | {"stops_at": stops_at, "seconds": seconds}


def _no_job_words(row: CheckRow) -> str:
    told = _("No job {reference} of the car {vin} is in the books; bring the tables of cars and jobs first.")
    return told.format(reference=row.reference, vin=row.vin)
