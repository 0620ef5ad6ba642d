"""The reads of instruments: the book with the state of each, and what a job's panel offers."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from django.db.models import Max, Prefetch, Q, QuerySet
from django.utils import timezone

from diagnostics.selectors import checks_of_job
from reports.document import content
from reports.document.compose import Calibrated, Used, named
from reports.document.compose.instruments import lapse_words
from reports.instruments.models import Calibration, Instrument, InstrumentKind, InstrumentUse
from shop.models import Job, User

State = Literal["valid", "ends", "expired", "never", "retired"]
ENDS_WITHIN = dt.timedelta(days=30)
OFFERED = 3
"""Instruments of a kind that the panel of a job shows at once; the others lie behind them."""
USES_SHOWN = 20


@dataclass(frozen=True, slots=True)
class Standing:
    """An instrument and how its calibration stands today: `last` the one that is valid longest, of those that count."""

    instrument: Instrument
    state: State
    last: Calibration | None


@dataclass(frozen=True, slots=True)
class Offered:
    """A kind on the panel of a job: what is chosen, and what may be chosen instead, the last used ones first. `lapse`:
    that no calibration of it was valid on a day of the job, in words."""

    label: str
    use: InstrumentUse | None
    chosen: Standing | None
    lapse: str
    first: tuple[Standing, ...]
    others: tuple[Standing, ...]


def today() -> dt.date:
    return timezone.localdate()


def standing(instrument: Instrument, today: dt.date) -> Standing:
    """Of a row whose calibrations were fetched (`_rows`)."""
    counted = [one for one in instrument.calibrations.all() if one.struck_at is None]
    last = max(counted, key=lambda one: (one.valid_until, one.pk), default=None)
    return Standing(instrument, _state(instrument, last, today), last)


def _state(instrument: Instrument, last: Calibration | None, today: dt.date) -> State:
    if instrument.retired_at is not None:
        return "retired"
    if last is None:
        return "never"
    if last.valid_until < today:
        return "expired"
    return "ends" if last.valid_until - today <= ENDS_WITHIN else "valid"


def _rows() -> QuerySet[Instrument]:
    return Instrument.objects.prefetch_related("calibrations")


_URGENT: Sequence[State] = ("expired", "ends", "never", "valid", "retired")


def book() -> tuple[list[Standing], list[Standing]]:
    """Those in use, what asks for something first, and the retired ones."""
    rows = [standing(row, today()) for row in _rows()]
    used = [row for row in rows if row.state != "retired"]
    used.sort(key=lambda row: _URGENT.index(row.state))
    return used, [row for row in rows if row.state == "retired"]


def one(pk: int) -> Instrument | None:
    """With its calibrations, struck ones too, and who wrote them."""
    calibrations = Calibration.objects.select_related("by", "struck_by")
    rows = Instrument.objects.select_related("added_by", "retired_by")
    return rows.prefetch_related(Prefetch("calibrations", calibrations)).filter(pk=pk).first()


def uses_of(instrument: Instrument) -> list[InstrumentUse]:
    rows = instrument.uses.filter(undone_at=None).select_related("job__car", "by")
    return list(rows[:USES_SHOWN])


def used_on(job: Job) -> list[InstrumentUse]:
    """What stands as used on the job, by kind, each with its calibrations."""
    rows = job.instrument_uses.filter(undone_at=None).select_related("instrument")
    found = list(rows.prefetch_related("instrument__calibrations"))
    return sorted(found, key=lambda use: InstrumentKind.values.index(use.kind))


_KINDS: Final[dict[str, content.InstrumentKind]] = {
    InstrumentKind.MULTIMETER: "multimeter",
    InstrumentKind.STOPWATCH: "stopwatch",
    InstrumentKind.GAUGE: "pressure-gauge",
    InstrumentKind.THERMOMETER: "thermometer",
}


def used_values(job: Job) -> tuple[Used, ...]:
    """What was used on the job, as values for its certificate."""
    return tuple(_used(use.instrument) for use in used_on(job))


def _used(row: Instrument) -> Used:
    rows = [one for one in row.calibrations.all() if one.struck_at is None]
    bare = Used(_KINDS[row.kind], row.name, row.serial, tuple(map(_calibrated, rows)))
    if row.accuracy_percent is None or row.accuracy_volts is None:
        return bare
    return replace(bare, percent=float(row.accuracy_percent), volts=float(row.accuracy_volts))


def _calibrated(row: Calibration) -> Calibrated:
    expanded = None if row.expanded_volts is None else float(row.expanded_volts)
    return Calibrated(row.calibrated_on, row.valid_until, row.number, row.laboratory, expanded)


def offered(job: Job, user: User) -> list[Offered]:
    """Every kind of which the shop has an instrument, or one stands as used on the job."""
    days, uses = _days_of(job), {use.kind: use for use in used_on(job)}
    rows = [standing(row, today()) for row in _last_used(_rows().filter(retired_at=None), user)]
    return [
        _offered(str(kind.label), uses.get(kind.value), [row for row in rows if row.instrument.kind == kind], days)
        for kind in InstrumentKind
        if kind.value in uses or any(row.instrument.kind == kind for row in rows)
    ]


def _last_used(rows: QuerySet[Instrument], user: User) -> Iterable[Instrument]:
    """What this person used last comes first, then what anybody did."""
    standing_uses = Q(uses__undone_at=None)
    dated = rows.annotate(
        by_me=Max("uses__at", filter=standing_uses & Q(uses__by=user)), by_all=Max("uses__at", filter=standing_uses)
    )
    never = dt.datetime.min.replace(tzinfo=dt.UTC)
    return sorted(dated, key=lambda row: (row.by_me or never, row.by_all or never), reverse=True)


def _days_of(job: Job) -> list[dt.date]:
    """On which something was entered that counts; today too, as long as more may come."""
    moments = checks_of_job(job).filter(struck_at=None).exclude(verdict="refused").values_list("at", flat=True)
    days = {timezone.localdate(at) for at in moments}
    return sorted(days | {today()} if job.is_open or not days else days)


def _offered(label: str, use: InstrumentUse | None, rows: list[Standing], days: list[dt.date]) -> Offered:
    if use is None:
        return Offered(label, None, None, "", tuple(rows[:OFFERED]), tuple(rows[OFFERED:]))
    one = named(_used(use.instrument), days)
    left = tuple(row for row in rows if row.instrument.pk != use.instrument_id)
    chosen = standing(use.instrument, days[-1])
    return Offered(label, use, chosen, lapse_words(one) if one.not_valid_on else "", (), left)
