"""How far an inspection by plan is."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.utils import timezone

from diagnostics import selectors as bench
from diagnostics.engine.inspection.items import Item
from diagnostics.engine.inspection.plan import left_out, plan_for
from diagnostics.engine.system.model import TopSystem
from reports.document.compose.coverage import Answer, Covered, coverage, open_items
from reports.evidence import Bench, bench_of
from reports.inspection.models import Inspection, InspectionAnswer
from shop.models import Job


@dataclass(frozen=True, slots=True)
class Standing:
    """`rows`: the plan and how each item stands; `left_out`: items that the system does not have, with the reason;
    `answers`: all of them in order of time, struck out ones too."""

    inspection: Inspection
    rows: tuple[Covered, ...]
    left_out: tuple[tuple[Item, str], ...]
    bench: Bench
    answers: tuple[InspectionAnswer, ...]

    @property
    def open_items(self) -> tuple[Covered, ...]:
        return open_items(self.rows)

    def count(self, state: str) -> int:
        return sum(row.state == state for row in self.rows)


def inspection_of(job: Job) -> Inspection | None:
    """The job's inspection by plan, unless it was given up."""
    return Inspection.objects.filter(job=job, given_up_at=None).first()


def standing_of(inspection: Inspection, seen: Bench | None = None) -> Standing:
    """`seen`: what the bench shows, where the caller has it already."""
    seen, answers = seen or bench_of(inspection.job), _all_answers(inspection)
    return Standing(inspection, _rows(seen, answers), left_out(seen.system), seen, tuple(answers))


def rows_answered(job: Job, seen: Bench) -> tuple[Covered, ...]:
    """The plan as it stands, of a job in which somebody has answered an item; else (). One query."""
    rows = InspectionAnswer.objects.filter(inspection__job=job, inspection__given_up_at=None)
    answers = list(rows.select_related("by", "picture"))
    if not answers:
        return ()
    return _rows(seen, answers)


def _rows(seen: Bench, answers: Iterable[InspectionAnswer]) -> tuple[Covered, ...]:
    standing = [answer_of(row) for row in answers if row.struck_at is None]
    return coverage(plan_for(seen.system), seen.evidence, standing)


def _all_answers(inspection: Inspection) -> list[InspectionAnswer]:
    return list(inspection.answers.select_related("by", "struck_by", "picture"))


def answer_of(row: InspectionAnswer) -> Answer:
    return Answer(
        key=row.key,
        grade=row.grade,
        words=row.words,
        at=timezone.localtime(row.at),
        by=str(row.by),
        measured=None if row.measured is None else float(row.measured),
        picture=row.picture.digest if row.picture is not None else "",
    )


def item_of(inspection: Inspection, key: str) -> Item | None:
    """An item of the plan by its name."""
    sheet = bench.sheet_of_job(inspection.job)
    system: TopSystem | None = bench.system_of(sheet.revision) if sheet and sheet.revision else None
    return next((one for one in plan_for(system) if one.key == key), None)
