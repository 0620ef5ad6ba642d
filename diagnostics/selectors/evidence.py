"""From the rows of a job to the case that the engine judges.

**What counts.** All checks of the job's sheets on one system revision, up to the sheet asked for, that are neither
struck out nor refused. Work divides them, by the moment of entry and whatever flag was stored with them:

- a check at a position is *after work* when it was made after the last work at that position (a reading at the pin of
  two switches in series after the last work at either), a battery reading after the last work at the supply, a motion
  trial (it depends on every path) after the last work anywhere in the job;
- a check made before is kept as evidence of the state before the work: the engine carries over what it said of
  everything that was not worked on, draws the faults of the worked positions anew, and judges those by what came after;
- a check at a position made between two works there is overtaken and left out, as is a motion trial made between any
  two works: it speaks of a state that is neither;
- for the proof only checks after the last work on the path count (`current`).

So a repaired fault stays suspected until its path is checked again, and the complaint is never forgotten: if the
wrong part was changed, what else could have caused it stays suspected. Besides, a motion that stopped must be seen to
run whole after the last work (`proof.py`).
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache

from django.db.models import Subquery
from django.utils import timezone

from diagnostics.engine.case import Case, CaseCar, Complaint, Observation, observation_of
from diagnostics.engine.evidence import AT_PIN
from diagnostics.engine.proof import proof_of
from diagnostics.engine.results import ProofState
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import path_of
from diagnostics.engine.timing import References
from diagnostics.models import BenchSheet, Check, CheckKind, Learning, Work
from diagnostics.selectors.failure_model import LearnedPriors, priors_of_car
from diagnostics.selectors.own_times import step_times_of
from diagnostics.selectors.systems import system_of


@dataclass(frozen=True, slots=True)
class Evidence:
    """A case with the rows behind it: `checks` are parallel to `case.observations`, `current` tell of the top as it
    is now. `stopped`: motions that a trial saw stop, one between two works too. `step_times`: what the timed steps take
    in the shop's own cars."""

    system: TopSystem
    case: Case
    checks: tuple[Check, ...]
    current: tuple[Check, ...]
    work: tuple[Work, ...]
    stopped: frozenset[str] = frozenset()
    step_times: References = field(default_factory=dict)
    asked: Callable[[], LearnedPriors] = LearnedPriors

    @property
    def priors(self) -> LearnedPriors:
        """What the shop's own checks say of this car before the job; asked for only by who weighs suspects."""
        return self.asked()

    @property
    def is_empty(self) -> bool:
        return not self.checks and not self.stopped and self.case.complaint is None

    def proof(self, *, by_hand: bool = True) -> dict[str, ProofState]:
        """Sensor -> seen made, seen released, after the last work on its path; with or without what was read by
        hand."""
        counted = (check for check in self.current if by_hand or check.kind != CheckKind.PIN_BY_HAND)
        return proof_of(self.system, [observation_of(check.observation) for check in counted])


class WorkTimes:
    """When what was worked on, asked for one check at a time."""

    def __init__(self, work: Iterable[Work], system: TopSystem) -> None:
        self._system = system
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
            moments = [at for code in self._path(check) for at in self._at.get(code, [])]
        return sum(check.at > at for at in moments), len(moments)

    def _path(self, check: Check) -> tuple[str, ...]:
        """The positions that a check depends on: at the pin of two switches in series both."""
        if check.kind in AT_PIN and check.position in self._system.positions:
            return path_of(self._system, check.position)
        return (check.position,)


@dataclass(frozen=True, slots=True)
class Rows:
    """What a job's evidence is made of, as `sheet` sees it: its sheets on one revision, all their checks in the order
    of entry (struck-out and refused ones too), its work."""

    sheet: BenchSheet
    system: TopSystem
    checks: tuple[Check, ...]
    work: tuple[Work, ...]
    priors: Callable[[], LearnedPriors]


def rows_of_sheet(sheet: BenchSheet, work: Sequence[Work] | None = None) -> Rows | None:
    """Three queries, or two where the caller has all `work` of the job already; None without a declared system."""
    if sheet.revision is None:
        return None
    system = system_of(sheet.revision)
    own = BenchSheet.objects.filter(job_id=sheet.job_id, revision_id=sheet.revision_id, opened_at__lte=sheet.opened_at)
    # The newest learning comes along: a query of its own for every sheet that is looked at would be one too many.
    learned_at, mark = (Subquery(Learning.objects.values(name)[:1]) for name in ("learned_at", "fingerprint"))
    sheets = list(own.annotate(learned_at=learned_at, learned_mark=mark))
    checks = Check.objects.filter(sheet__in=[one.pk for one in sheets]).select_related("by", "struck_by")
    now = next(one for one in sheets if one.pk == sheet.pk)
    now.car = sheet.car
    done = tuple(Work.objects.filter(job_id=sheet.job_id) if work is None else work)

    @cache
    def priors() -> LearnedPriors:
        day = timezone.localdate(sheet.opened_at)
        learning = Learning(learned_at=now.learned_at, fingerprint=now.learned_mark) if now.learned_mark else None
        return priors_of_car(system, sheet.car, day, job=sheet.job_id, newest=lambda: learning)

    return Rows(now, system, tuple(checks.order_by("at", "pk")), done, priors)


def evidence_of_sheet(sheet: BenchSheet, work: Sequence[Work] | None = None) -> Evidence | None:
    """The evidence of the sheet's job as this sheet sees it; see rows_of_sheet."""
    rows = rows_of_sheet(sheet, work)
    return evidence_of_rows(rows) if rows else None


def evidence_of_rows(rows: Rows, *, otherwise: int | None = None) -> Evidence:
    """`otherwise`: a check (its key) that is taken the other way round: left out if it counts, in if it is struck
    out."""
    sheet, system, work = rows.sheet, rows.system, rows.work
    times = WorkTimes(work, system)
    checks, observations, current, stopped = [], [], [], set()
    for check in rows.checks:
        if check.verdict == "refused" or (check.struck_at is None) == (check.pk == otherwise):
            continue
        if check.kind == CheckKind.MOTION and check.observation["stops_at"] is not None:
            stopped.add(check.observation["motion"])
        passed, in_all = times.passed(check)
        if passed == in_all:
            current.append(check)
        elif passed:
            continue
        checks.append(check)
        after_work = 0 < passed == in_all
        observations.append(observation_of({**check.observation, "after_work": after_work}))
    done = tuple(dict.fromkeys(one.position for one in work if one.position in system.positions))
    case = Case(
        system=system.system,
        car=CaseCar(made_on=sheet.car.made_on.strftime("%Y-%m"), climate=sheet.car.climate),  # type: ignore[arg-type]
        seen_on=timezone.localdate(sheet.opened_at).isoformat(),
        complaint=Complaint.model_validate(sheet.complaint) if sheet.complaint else None,
        recent_work=_recent_work(sheet, system, done, observations),
        renewed=done,
        observations=tuple(observations),
    )
    step_times = step_times_of(system, observations, sheet.car_id)
    return Evidence(system, case, tuple(checks), tuple(current), work, frozenset(stopped), step_times, rows.priors)


def _recent_work(
    sheet: BenchSheet, system: TopSystem, done: tuple[str, ...], observations: Iterable[Observation]
) -> tuple[str, ...]:
    """Positions worked on before the car came; once a motion was tried after this job's work, that work too: the trial
    is then one of the renewed state, with what else the work may have disturbed."""
    tried = any(one.check == "motion" and one.after_work for one in observations)
    codes = dict.fromkeys([*sheet.recent_work, *(done if tried else ())])
    return tuple(code for code in codes if code in system.positions)


def case_of_sheet(sheet: BenchSheet) -> Case | None:
    """The sheet as a case file would say it; None where the car's system is not declared."""
    evidence = evidence_of_sheet(sheet)
    return evidence.case if evidence else None
