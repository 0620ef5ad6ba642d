"""What the learned priors are worth beside the trade defaults: learned from the demo's first years, asked in its last.

`OPENBLAS_NUM_THREADS=1 pytest tests/benchmarks/test_priors.py --benchmark-only -s`. The demo is invented, and its units
fail by the very law that is fitted: this asks whether what was learned reaches the bench and does no harm there. It is
no evidence of what it is worth in a shop. The demo is loaded as of a fixed day, so that the figures come out alike.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import pytest
from django.db.models import F

from diagnostics.engine.inference import believe
from diagnostics.engine.results import Fault
from diagnostics.models import Sighting, Unit, Work
from diagnostics.selectors.evidence import Evidence, evidence_of_sheet
from diagnostics.services import learning_run
from reports.demo.load import load
from shop.models import Job

TODAY = date(2026, 3, 2)
LEARNED_SHARE = 2 / 3
"""Of the years that the demo keeps records: what was seen in them is learned from."""
MOMENTS = ("before any check", "before the repair")
PRIORS = ("defaults", "learned")
RESAMPLED, SEED = 2000, 20417


@dataclass(frozen=True, slots=True)
class Asked:
    """A fault that was repaired, as it stood among the suspects: `scores` (moment × priors × 3) the chance to be named
    first and among the first three where equals are told in any order, and the log2 of its probability."""

    car: int
    complained: bool
    scores: np.ndarray


def asked() -> list[Asked]:
    """Every known fault of the finished jobs of the last third, the newest job first: each is asked as the car stood
    then, with what came later taken back, and with the models of the first two thirds."""
    jobs = list(Job.objects.filter(sheets__isnull=False).distinct().order_by("-opened_at", "-pk"))
    first, last = jobs[-1].opened_at.date(), TODAY
    until = first + timedelta(days=round((last - first).days * LEARNED_SHARE))
    later = list(Sighting.objects.filter(on__gte=until))
    Sighting.objects.filter(on__gte=until).delete()
    assert learning_run() is not None
    Sighting.objects.bulk_create(later)
    found: list[Asked] = []
    for job in jobs:
        if job.sheets.latest("opened_at").opened_at.date() < until:
            break
        found += asked_in(job) if job.finished_at else ()
        take_back(job)
    return found


def take_back(job: Job) -> None:
    """What the job left in the car and in the book is as if it had not been."""
    Sighting.objects.filter(sheet__job=job).delete()
    Unit.objects.filter(fitted_job=job).update(removed_on=F("fitted_on"), removed_job=None)
    Unit.objects.filter(removed_job=job).update(removed_on=None, removed_job=None)


def asked_in(job: Job) -> Iterator[Asked]:
    work = list(Work.objects.filter(job=job).exclude(mode__in=["", Work.PRECAUTION]).order_by("at"))
    evidence = evidence_of_sheet(job.sheets.latest("opened_at")) if work else None
    if evidence is None:
        return
    true = {Fault(one.position, one.mode) for one in work}
    begun = min(one.at for one in evidence.work)
    seen = [one for check, one in zip(evidence.checks, evidence.case.observations, strict=True) if check.at < begun]
    learned = evidence.priors.chances
    assert learned, "the models of the first years are the ones asked"
    shares = [[shares_of(evidence, observations, priors) for priors in ({}, learned)] for observations in ([], seen)]
    for fault in sorted(true):
        scores = [[score(one, fault, true) for one in moment] for moment in shares]
        yield Asked(job.car_id, evidence.case.complaint is not None, np.array(scores))


def shares_of(evidence: Evidence, observations: Sequence[object], priors: Mapping[Fault, float]) -> dict[Fault, float]:
    case = evidence.case.model_copy(update={"observations": tuple(observations), "renewed": (), "recent_work": ()})
    belief = believe(evidence.system, case, priors=priors)
    return dict(zip(belief.model.faults, map(float, belief.shares), strict=True))


def score(shares: Mapping[Fault, float], fault: Fault, true: set[Fault]) -> tuple[float, float, float]:
    """Beside the other faults that were repaired in the same job only what was not there competes."""
    own = shares[fault]
    others = np.array([share for one, share in shares.items() if one not in true])
    before = int((others > own * (1 + 1e-9)).sum())
    alike = 1 + int((np.abs(others - own) <= own * 1e-9).sum())
    first, in_three = (min(max(places - before, 0) / alike, 1.0) for places in (1, 3))
    return first, in_three, float(np.log2(max(own, 1e-300)))


def told(found: Sequence[Asked]) -> Iterator[str]:
    """Means, and the paired difference with its 90 % interval over cars drawn anew."""
    rng = np.random.default_rng(SEED)
    cars = sorted({one.car for one in found})
    by_car = [np.array([one.scores for one in found if one.car == car]) for car in cars]
    sums, counts = np.array([one.sum(axis=0) for one in by_car]), np.array([len(one) for one in by_car])
    drawn = rng.integers(0, len(cars), (RESAMPLED, len(cars)))
    means = sums[drawn].sum(axis=1) / counts[drawn].sum(axis=1)[:, None, None, None]
    mean = sums.sum(axis=0) / counts.sum()
    for moment, when in enumerate(MOMENTS):
        for what, name in enumerate(("first", "in first three", "bits")):
            low, high = np.quantile(means[:, moment, 1, what] - means[:, moment, 0, what], (0.05, 0.95))
            defaults, learned = mean[moment, :, what]
            yield (
                f"  {when}, {name}: defaults {defaults:.3f}, learned {learned:.3f}, "
                f"difference {learned - defaults:+.3f} ({low:+.3f} to {high:+.3f})"
            )


@pytest.mark.django_db
def test_learned_priors_beside_trade_defaults(benchmark):
    assert load(today=TODAY)
    found = benchmark.pedantic(asked, rounds=1)
    for name, some in (
        ("with a complaint", [one for one in found if one.complained]),
        ("without a complaint", [one for one in found if not one.complained]),
    ):
        print(f"\n{len(some)} repaired faults in {len({one.car for one in some})} cars, {name}:")
        print("\n".join(told(some)))
