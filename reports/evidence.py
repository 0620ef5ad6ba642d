"""What a job's certificate and its inspection plan are judged by: the checks that count and the work, as plain
values."""

from dataclasses import dataclass

from django.utils import timezone

from diagnostics import selectors as bench
from diagnostics.engine.case import observation_of
from diagnostics.engine.signals import judge
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.words import _
from diagnostics.models import BenchSheet, Check, Unit, Work
from reports.document import compose
from shop.models import Job


@dataclass(frozen=True, slots=True)
class Bench:
    """The job at the bench. `counted`: checks in order of time that are neither struck out nor refused; `struck`: how
    many were struck out; `seen`: those of `counted` that were made under `system`; `booked`: the rows of `work`."""

    sheet: BenchSheet | None
    system: TopSystem | None
    counted: tuple[Check, ...]
    struck: int
    seen: tuple[compose.Seen, ...]
    work: tuple[compose.Worked, ...]
    booked: tuple[Work, ...] = ()

    @property
    def evidence(self) -> compose.Evidence | None:
        return compose.Evidence(self.system, self.seen, self.work) if self.system is not None else None


def bench_of(job: Job) -> Bench:
    booked = tuple(bench.work_of_job(job))
    rows = list(bench.checks_of_job(job).select_related("sheet__revision"))
    counted = tuple(row for row in rows if row.struck_at is None and row.verdict != "refused")
    sheet = bench.sheet_of_job(job)
    system = bench.system_of(sheet.revision) if sheet and sheet.revision else None
    seen: tuple[compose.Seen, ...] = ()
    if sheet is not None and system is not None:
        seen = tuple(_seen(system, row) for row in counted if row.sheet.revision_id == sheet.revision_id)
    return Bench(
        sheet=sheet,
        system=system,
        counted=counted,
        struck=sum(row.struck_at is not None for row in rows),
        seen=seen,
        work=tuple(map(_worked, booked)),
        booked=booked,
    )


def _seen(system: TopSystem, row: Check) -> compose.Seen:
    observation = observation_of(row.observation)
    return compose.Seen(observation, judge(system, observation), timezone.localtime(row.at), str(row.by))


def _worked(row: Work) -> compose.Worked:
    return compose.Worked(
        position=row.position,
        kind_words=_(str(row.get_kind_display())),
        words=row.words,
        at=timezone.localtime(row.at),
        by=str(row.by),
        old_part=_unit(row.old_unit),
        new_part=_unit(row.new_unit),
    )


def _unit(unit: Unit | None) -> str:
    if unit is None:
        return ""
    words = unit.part
    if unit.revision:
        words += _(", revision {revision}").format(revision=unit.revision)
    return words + (_(", serial {serial}").format(serial=unit.serial) if unit.serial else "")
