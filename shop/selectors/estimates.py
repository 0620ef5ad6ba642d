"""What was offered, answered and spent: of a job, and of a month for the bookkeeping."""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Prefetch, Q, QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.estimates import priced, totals_of
from shop.models import (
    Answer,
    Clock,
    CostKind,
    Estimate,
    EstimateLine,
    EstimateVersion,
    Job,
    Outlay,
    ShopProfile,
    Task,
    TaskKind,
    TaskState,
    VersionState,
)
from shop.planning.money import Priced, Totals, cents, hours_of, line_total


@dataclass(frozen=True, slots=True)
class VersionShown:
    """`approved`, `declined` and `waiting`: sums of the lines by what was answered."""

    version: EstimateVersion
    lines: tuple[EstimateLine, ...]
    total: Totals
    approved: Totals
    declined: Totals
    waiting: Totals
    answered: int

    @property
    def counts(self) -> bool:
        """Whether its answers say what is agreed: a replaced version's do no more."""
        return self.version.state == VersionState.SENT

    @property
    def waits(self) -> bool:
        return self.counts and self.answered < len(self.lines)


@dataclass(frozen=True, slots=True)
class EstimateShown:
    """`versions` newest first."""

    estimate: Estimate
    versions: tuple[VersionShown, ...]

    @property
    def newest(self) -> VersionShown:
        return self.versions[0]

    @property
    def sent(self) -> VersionShown | None:
        return next((one for one in self.versions if one.counts), None)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Of one kind of cost, or of all (`label`), without tax. `state`: over | under | even."""

    label: str
    approved: Decimal
    actual: Decimal

    @property
    def difference(self) -> Decimal:
        return self.actual - self.approved

    @property
    def state(self) -> str:
        return "over" if self.difference > 0 else "under" if self.difference < 0 else "even"


def versions_with_lines() -> QuerySet[EstimateVersion]:
    lines = EstimateLine.objects.order_by("number").select_related("answer", "answer__noted_by")
    return EstimateVersion.objects.select_related("sent_by").prefetch_related(Prefetch("lines", lines))


def shown(version: EstimateVersion) -> VersionShown:
    """`version` read by versions_with_lines()."""
    lines = tuple(version.lines.all())
    by_answer: dict[str, list[EstimateLine]] = {Answer.APPROVED: [], Answer.DECLINED: [], "": []}
    for line in lines:
        by_answer[line.answer.answer if hasattr(line, "answer") else ""].append(line)
    approved, declined, waiting = map(totals_of, by_answer.values())
    return VersionShown(version, lines, totals_of(lines), approved, declined, waiting, len(lines) - len(by_answer[""]))


def estimate_of(job: Job) -> list[EstimateShown]:
    """The estimate of the job and its supplements, in the order in which they were made."""
    versions = versions_with_lines().order_by("-version")
    rows = job.estimates.order_by("number").prefetch_related(Prefetch("versions", versions))
    return [EstimateShown(row, tuple(shown(version) for version in row.versions.all())) for row in rows]


def tasks_to_offer(job: Job) -> QuerySet[Task]:
    """Tasks of the work plan that cost something and are in no estimate yet, in their order."""
    costs = Q(kind=TaskKind.OUTSIDE) | Q(planned_minutes__gt=0) | Q(parts__isnull=False)
    return Task.objects.filter(costs, job=job, lines=None).exclude(state=TaskState.DROPPED).distinct()


def approved_lines() -> QuerySet[EstimateLine]:
    """All lines that a customer approved in the version that counts."""
    return EstimateLine.objects.filter(version__state=VersionState.SENT, answer__answer=Answer.APPROVED)


def actual_against_approved(job: Job) -> list[Comparison]:
    """By kind of cost and, last, in all, in the shop's currency: what was approved in it, and what clocks (those that
    were stopped, at the shop's rate of now) and outlays (those that were not struck) come to."""
    shop = ShopProfile.objects.first() or ShopProfile()
    spans = _stopped(job).values_list("started_at", "stopped_at")
    worked = sum((stopped - started for started, stopped in spans if stopped is not None), dt.timedelta())
    hours = hours_of(Decimal(int(worked.total_seconds())) / 60)
    actual = {CostKind.LABOUR: line_total(Priced(hours, shop.hourly_rate, Decimal(0)))}
    spent = list(Outlay.objects.filter(job=job, struck_at=None))
    approved = list(approved_lines().filter(version__estimate__job=job, version__currency=shop.currency))
    rows = []
    for kind in CostKind:
        outlays = _sum(one for one in spent if one.kind == kind)
        agreed = _sum(one for one in approved if one.kind == kind)
        rows.append(Comparison(str(kind.label), agreed, actual.get(kind, Decimal(0)) + outlays))
    whole = Comparison(
        _("In all"), sum((one.approved for one in rows), Decimal(0)), sum((one.actual for one in rows), Decimal(0))
    )
    return [*rows, whole]


def _stopped(job: Job) -> QuerySet[Clock]:
    return Clock.objects.filter(task__job=job, stopped_at__isnull=False).order_by()


def _sum(rows: Iterable[EstimateLine | Outlay]) -> Decimal:
    return sum((line_total(priced(row)) for row in rows), Decimal("0.00"))


HEAD = (
    "date", "job", "vin", "what", "kind", "words", "quantity", "unit", "unit_price", "net", "tax_percent", "tax",
    "currency",
)  # fmt: skip


def books(*, job: Job | None = None, month: dt.date | None = None) -> Iterator[tuple[object, ...]]:
    """Rows under HEAD: approved lines by the day of approval, then outlays by the day of booking, of a job or of the
    month that begins with `month` in the shop's zone. The tax of a single row is rounded by itself."""
    lines = approved_lines().select_related("answer", "version__estimate__job__car").order_by("answer__at", "pk")
    outlays = Outlay.objects.filter(struck_at=None).select_related("job__car").order_by("at", "pk")
    if job is not None:
        lines, outlays = lines.filter(version__estimate__job=job), outlays.filter(job=job)
    if month is not None:
        span = _month_span(month)
        lines, outlays = lines.filter(answer__at__range=span), outlays.filter(at__range=span)
    currency = (ShopProfile.objects.first() or ShopProfile()).currency
    yield HEAD
    for line in lines:
        yield _row(line, "approved", line.version.estimate.job, line.answer.at, line.version.currency)
    for outlay in outlays:
        yield _row(outlay, "outlay", outlay.job, outlay.at, currency)


def _row(row: EstimateLine | Outlay, what: str, job: Job, at: dt.datetime, currency: str) -> tuple[object, ...]:
    net = line_total(priced(row))
    return (
        timezone.localdate(at).isoformat(), job.number, job.car.vin, what, row.kind, row.words, row.quantity, row.unit,
        row.unit_price, net, row.tax_percent, cents(net * row.tax_percent / 100), currency,
    )  # fmt: skip


def _month_span(month: dt.date) -> tuple[dt.datetime, dt.datetime]:
    first = dt.datetime.combine(month.replace(day=1), dt.time())
    after = (first + dt.timedelta(days=32)).replace(day=1)
    zone = timezone.get_current_timezone()
    return first.replace(tzinfo=zone), after.replace(tzinfo=zone) - dt.timedelta(microseconds=1)
