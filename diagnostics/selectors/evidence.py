"""From the rows of a job to the case that the engine judges.

**What counts.** All checks of the job's sheets on one system revision, up to the sheet asked for, that are neither struck out nor
refused. Work makes a part of them stale, and what is stale is left out of the suspects and of the proof:

- a check at a position, when it was made before the last work at that position;
- a battery reading, when it was made before the last work at the supply;
- a motion trial, when it was made before the last work of the job, anywhere: a motion depends on every path;
- the complaint, as soon as there is work on the job: it tells of the top before the work.

A fault that the work was meant to cure starts again with the prior of a new part (`suspects.py`). What the complaint said is not forgotten:
a complained motion must be seen to run whole after the last work before the job can be called done (`proof.py`).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone
from pydantic import TypeAdapter

from diagnostics.engine.case import Case, CaseCar, Complaint, Observation
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, Check, CheckKind, Work
from diagnostics.selectors.systems import system_of

_OBSERVATION: TypeAdapter[Observation] = TypeAdapter(Observation)


@dataclass(frozen=True, slots=True)
class Evidence:
    """A case with the rows behind it: `checks` are parallel to `case.observations`; `stale` were made before work."""

    system: TopSystem
    case: Case
    checks: tuple[Check, ...]
    stale: tuple[Check, ...]
    work: tuple[Work, ...]
    complaint: Complaint | None
    """What was complained of, also after work when the case no longer counts it."""

    @property
    def is_empty(self) -> bool:
        return not self.checks and self.case.complaint is None


def last_work_at(work: Iterable[Work]) -> dict[str, datetime]:
    """Position -> moment of the last work at it."""
    last: dict[str, datetime] = {}
    for one in work:
        last[one.position] = max(one.at, last.get(one.position, one.at))
    return last


def is_stale(check: Check, system: TopSystem, last: Mapping[str, datetime]) -> bool:
    """Whether work has overtaken the check (the rule stands at the top of this module)."""
    if check.kind == CheckKind.MOTION:
        moments = list(last.values())
    elif check.kind == CheckKind.BATTERY:
        moments = [at for code, at in last.items() if code in system.positions and system.positions[code].kind == "supply"]
    else:
        moments = [last[check.position]] if check.position in last else []
    return any(check.at <= at for at in moments)


def evidence_of_sheet(sheet: BenchSheet) -> Evidence | None:
    """The evidence of the sheet's job as this sheet sees it; None where the car's system is not declared. Three queries."""
    if sheet.revision is None:
        return None
    system = system_of(sheet.revision)
    sheets = list(
        BenchSheet.objects.filter(job_id=sheet.job_id, revision_id=sheet.revision_id, opened_at__lte=sheet.opened_at)
    )
    rows = Check.objects.filter(sheet__in=[one.pk for one in sheets], struck_at__isnull=True).exclude(verdict="refused")
    work = tuple(Work.objects.filter(job_id=sheet.job_id))
    last = last_work_at(work)
    fresh: list[Check] = []
    stale: list[Check] = []
    for check in rows.select_related("by"):
        (stale if is_stale(check, system, last) else fresh).append(check)
    said = next((one.complaint for one in sorted(sheets, key=lambda s: s.opened_at, reverse=True) if one.complaint), None)
    complaint = Complaint.model_validate(said) if said else None
    case = Case(
        system=system.system,
        car=CaseCar(made_on=sheet.car.made_on.strftime("%Y-%m"), climate=sheet.car.climate),  # type: ignore[arg-type]
        seen_on=timezone.localdate(sheet.opened_at).isoformat(),
        complaint=None if work else complaint,
        recent_work=tuple(code for code in sheet.recent_work if code in system.positions),
        observations=tuple(_OBSERVATION.validate_python(check.observation) for check in fresh),
    )
    return Evidence(system, case, tuple(fresh), tuple(stale), work, complaint)


def case_of_sheet(sheet: BenchSheet) -> Case | None:
    """The sheet as a case file would say it; None where the car's system is not declared."""
    evidence = evidence_of_sheet(sheet)
    return evidence.case if evidence else None
