"""What was fitted, checked and done: the reads of units, checks and work."""

from dataclasses import dataclass

from django.db.models import QuerySet

from diagnostics.models import BenchSheet, Check, Unit, Work
from diagnostics.selectors.systems import system_for_car, system_of
from shop.models import Car, Job


@dataclass(frozen=True, slots=True)
class PositionUnits:
    """What stood at one position of a car, oldest first. `original_part` is by the declaration; `units` may be empty
    (never touched)."""

    position: str
    name: str
    original_part: str
    units: tuple[Unit, ...]

    @property
    def now(self) -> Unit | None:
        return next((unit for unit in self.units if unit.removed_on is None), None)


def units_of_car(car: Car) -> tuple[PositionUnits, ...]:
    """Every position of the car's top with its units over time; two queries. Undeclared positions with units come
    last."""
    by_position: dict[str, list[Unit]] = {}
    # Nulls sort differently in SQLite and PostgreSQL: the original part (fitted_on null) is put first here.
    rows = Unit.objects.filter(car=car).select_related("fitted_job", "removed_job").order_by("pk")
    for unit in sorted(
        rows, key=lambda u: (u.fitted_on is not None, u.fitted_on, u.pk) if u.fitted_on else (False, None, u.pk)
    ):
        by_position.setdefault(unit.position, []).append(unit)
    revision = system_for_car(car)
    declared = dict(system_of(revision).positions) if revision else {}
    known = tuple(
        PositionUnits(code, one.name, one.part, tuple(by_position.pop(code, ()))) for code, one in declared.items()
    )
    return known + tuple(PositionUnits(code, "", "", tuple(units)) for code, units in sorted(by_position.items()))


def checks_of_job(job: Job) -> QuerySet[Check]:
    """All checks of the job's sheets in the order of entry, struck-out and refused ones too (see `verdict`,
    `struck_at`)."""
    return Check.objects.filter(sheet__job=job).select_related("sheet", "by", "struck_by").order_by("at", "pk")


def work_of_job(job: Job) -> QuerySet[Work]:
    """Work in the order in which it was done, with the units that were booked off and on."""
    return Work.objects.filter(job=job).select_related("by", "old_unit", "new_unit").order_by("at", "pk")


def sheet_of_job(job: Job) -> BenchSheet | None:
    """The job's open sheet, else its last one, else None."""
    return (
        BenchSheet.objects.filter(job=job)
        .select_related("revision", "car", "job")
        .order_by("-opened_at", "-pk")
        .first()
    )
