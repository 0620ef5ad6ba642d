"""From the rows of a job to the case that the engine judges.

**What counts.** All checks of the job's sheets on one system revision, up to the sheet asked for, that are neither
struck out nor refused. Work divides them, by the moment of entry and whatever flag was stored with them:

- a check at a position is *after work* when it was made after the last work at that position, a battery reading after
  the last work at the supply, a motion trial (it depends on every path) after the last work anywhere in the job;
- a check made before is kept as evidence of the state before the work: the engine carries over what it said of
  everything that was not worked on, draws the faults of the worked positions anew, and judges those by what came after;
- a check at a position made between two works there is overtaken and left out: it speaks of a state that is neither;
- for the proof only checks after the last work on the path count (`current`).

So a repaired fault stays suspected until its path is checked again, and the complaint is never forgotten: if the
wrong part was changed, what else could have caused it stays suspected. Besides, a motion that stopped must be seen to
run whole after the last work (`proof.py`).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from diagnostics.engine.case import Case, CaseCar, Complaint, Observation, observation_of
from diagnostics.engine.proof import proof_of
from diagnostics.engine.results import ProofState
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, Check, CheckKind, Work
from diagnostics.selectors.systems import system_of


@dataclass(frozen=True, slots=True)
class Evidence:
    """A case with the rows behind it: `checks` are parallel to `case.observations`, `current` tell of the top as it
    is now."""

    system: TopSystem
    case: Case
    checks: tuple[Check, ...]
    current: tuple[Check, ...]
    work: tuple[Work, ...]

    @property
    def is_empty(self) -> bool:
        return not self.checks and self.case.complaint is None

    def proof(self, *, by_hand: bool = True) -> dict[str, ProofState]:
        """Sensor -> seen made, seen released, after the last work on its path; with or without what was read by
        hand."""
        counted = (check for check in self.current if by_hand or check.kind != CheckKind.PIN_BY_HAND)
        return proof_of(self.system, [observation_of(check.observation) for check in counted])


class WorkTimes:
    """When what was worked on, asked for one check at a time."""

    def __init__(self, work: Iterable[Work], system: TopSystem) -> None:
        self._at: dict[str, list[datetime]] = {}
        for one in work:
            self._at.setdefault(one.position, []).append(one.at)
        self._supplies = {code for code, position in system.positions.items() if position.kind == "supply"}

    def passed(self, check: Check) -> tuple[int, int]:
        """(works on the path of the check that were done before it, works on that path in all)."""
        if check.kind == CheckKind.MOTION:
            moments = [at for times in self._at.values() for at in times]
        elif check.kind == CheckKind.BATTERY:
            moments = [at for code in self._supplies for at in self._at.get(code, [])]
        else:
            moments = self._at.get(check.position, [])
        return sum(check.at > at for at in moments), len(moments)


def evidence_of_sheet(sheet: BenchSheet) -> Evidence | None:
    """The evidence of the sheet's job as this sheet sees it, in three queries; None without a declared system."""
    if sheet.revision is None:
        return None
    system = system_of(sheet.revision)
    sheets = list(
        BenchSheet.objects.filter(job_id=sheet.job_id, revision_id=sheet.revision_id, opened_at__lte=sheet.opened_at)
    )
    rows = Check.objects.filter(sheet__in=[one.pk for one in sheets], struck_at__isnull=True).exclude(verdict="refused")
    work = tuple(Work.objects.filter(job_id=sheet.job_id))
    times = WorkTimes(work, system)
    checks, observations, current = [], [], []
    for check in rows.order_by("at", "pk"):
        passed, in_all = times.passed(check)
        if passed == in_all:
            current.append(check)
        elif passed and check.kind != CheckKind.MOTION:
            continue
        checks.append(check)
        after_work = 0 < passed == in_all
        observations.append(observation_of({**check.observation, "after_work": after_work}))
    now = next(one for one in sheets if one.pk == sheet.pk)
    case = Case(
        system=system.system,
        car=CaseCar(made_on=sheet.car.made_on.strftime("%Y-%m"), climate=sheet.car.climate),  # type: ignore[arg-type]
        seen_on=timezone.localdate(sheet.opened_at).isoformat(),
        complaint=Complaint.model_validate(now.complaint) if now.complaint else None,
        recent_work=_recent_work(now, work, observations, system),
        observations=tuple(observations),
    )
    return Evidence(system, case, tuple(checks), tuple(current), work)


def _recent_work(
    sheet: BenchSheet, work: Iterable[Work], observations: Iterable[Observation], system: TopSystem
) -> tuple[str, ...]:
    """Positions worked on before the car came; once a motion was tried after this job's work, that work too: the engine
    then takes the trial for one of the renewed state."""
    codes = list(sheet.recent_work)
    if any(one.check == "motion" and one.after_work for one in observations):
        codes += [one.position for one in work]
    return tuple(code for code in dict.fromkeys(codes) if code in system.positions)


def case_of_sheet(sheet: BenchSheet) -> Case | None:
    """The sheet as a case file would say it; None where the car's system is not declared."""
    evidence = evidence_of_sheet(sheet)
    return evidence.case if evidence else None
