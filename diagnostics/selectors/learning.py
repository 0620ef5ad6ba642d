"""What was learned last, from how much, what has come in since, and who is learning now."""

from dataclasses import dataclass
from hashlib import sha256

from django.db.models import Exists, OuterRef

from diagnostics.learning.records import Decision, PartModel, Range, month_of
from diagnostics.learning.stored import from_json
from diagnostics.models import (
    BenchSheet,
    Check,
    FailureModel,
    Learning,
    ProductionRange,
    RangeState,
    Sighting,
)
from shop.models import RunState, TaskRun

WHOLE, CHANGED = "learning", "learning-changed"
"""Kinds of TaskRun: everything anew; what has changed since."""
STALE = "stale:"
"""What the fingerprint of a model begins with whose data or decisions have changed since it was made."""
Group = tuple[str, str]
"""(system, part): what is learned together."""


@dataclass(frozen=True, slots=True)
class LearningState:
    """`waiting`: bench sheets that nothing was learned from yet; `stale`: models that what came in since will change;
    `run`: the learning that waits or works now."""

    newest: Learning | None
    waiting: int
    stale: int
    run: TaskRun | None


def learning_state() -> LearningState:
    alive = TaskRun.objects.filter(kind__in=[WHOLE, CHANGED], state__in=[RunState.QUEUED, RunState.RUNNING])
    return LearningState(
        newest=newest_learning(),
        waiting=BenchSheet.objects.filter(sighted=False).count(),
        stale=FailureModel.objects.filter(fingerprint__startswith=STALE).count(),
        run=alive.select_related("by").first(),
    )


def newest_learning() -> Learning | None:
    return Learning.objects.select_related("by", "run").first()


def snapshot_of(found: ProductionRange) -> tuple[PartModel, Range]:
    """The model in which the range was found, with curves, months and fingerprint, and the range as it was there."""
    model = from_json(found.document["model"])
    return model, model.ranges[found.document["range"]]


def decisions_now() -> tuple[Decision, ...]:
    """What the owner has decided so far, in an order of its own."""
    decided = ProductionRange.objects.filter(state__in=[RangeState.CONFIRMED, RangeState.DISMISSED])
    rows = decided.order_by("system", "part", "mode", "first", "last", "state").values_list(
        "system", "part", "mode", "first", "last", "state"
    )
    return tuple(
        Decision(system, part, mode, month_of(first), month_of(last), state)
        for system, part, mode, first, last, state in rows
    )


def stale_groups() -> frozenset[Group]:
    """What must be learned anew: models marked as stale, and parts that were seen and have no model yet."""
    marked = FailureModel.objects.filter(fingerprint__startswith=STALE).order_by()
    known = FailureModel.objects.order_by().values_list("system", "part").distinct()
    seen = Sighting.objects.order_by().values_list("system", "part").distinct()
    return frozenset(marked.values_list("system", "part")) | (frozenset(seen) - frozenset(known))


@dataclass(frozen=True, slots=True)
class Seen:
    """How much the shop has seen: cars and units on sheets that say something, those sheets, and their checks that
    count."""

    cars: int
    units: int
    sheets: int
    checks: int


def seen_now() -> Seen:
    rows = Sighting.objects.order_by()
    telling = BenchSheet.objects.filter(Exists(Sighting.objects.filter(sheet=OuterRef("pk")))).order_by()
    checks = Check.objects.filter(sheet__in=telling.values("pk"), struck_at__isnull=True).exclude(verdict="refused")
    return Seen(
        cars=rows.values("car").distinct().count(),
        units=rows.values("car", "position", "since").distinct().count(),
        sheets=telling.count(),
        checks=checks.count(),
    )


def fingerprint_now() -> str:
    """sha256 over the fingerprints of all models, the same however they were learned (records.Learned.fingerprint)."""
    every = FailureModel.objects.order_by().values_list("fingerprint", flat=True)
    return sha256("\n".join(sorted(every)).encode()).hexdigest()
