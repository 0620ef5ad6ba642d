"""Instruments are added, put right, retired and taken back; calibrations added and struck; one of a kind chosen for a
job. Nothing is deleted: certificates name what was used."""

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from django.db import IntegrityError, models, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.services.sheets import locked_job
from reports.instruments.models import Calibration, Instrument, InstrumentKind, InstrumentUse
from shop.errors import Conflict, ShopError
from shop.lines import one_line, reason_of
from shop.models import Job, User
from shop.permissions import require
from shop.services import trail_record
from shop.words import day_words

EARLIEST = dt.date(1950, 1, 1)
PERCENT_AT_MOST, VOLTS_AT_MOST = Decimal(20), Decimal(10)
"""Of an accuracy or an uncertainty: above that it is a slip of the pen, not a meter."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What a person types of an instrument. The accuracy is that of a multimeter: per cent of the reading + volts."""

    kind: str
    name: str
    serial: str
    accuracy_percent: Decimal | None = None
    accuracy_volts: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Calibrated:
    """What a person types of a calibration, from its certificate."""

    calibrated_on: dt.date
    valid_until: dt.date
    number: str
    laboratory: str
    expanded_volts: Decimal | None = None


@transaction.atomic
def instrument_add(*, facts: Facts, by: User) -> Instrument:
    """ShopError where the facts cannot be; Conflict where one of that kind with that serial is in use."""
    require(by, "instrument.write")
    facts = _sound(facts)
    made = _kept(Instrument(added_at=timezone.now(), added_by=by), facts)
    _tell(made, by, "instrument.added", _("{instrument} is in the book of instruments."))
    return made


@transaction.atomic
def instrument_change(*, instrument: Instrument, facts: Facts, by: User) -> Instrument:
    """Put right what was written down wrongly; its kind stays. What was issued before keeps what it said."""
    require(by, "instrument.write")
    row = _locked(instrument)
    _refuse_retired(row)
    if facts.kind != row.kind:
        words = _("{instrument} stays a {kind}: retire it and add the other one.")
        raise ShopError(words.format(instrument=row, kind=row.get_kind_display().lower()))
    row = _kept(row, _sound(facts))
    _tell(row, by, "instrument.changed", _("What is written of {instrument} was put right."))
    return row


@transaction.atomic
def instrument_retire(*, instrument: Instrument, reason: str, by: User) -> Instrument:
    """From now on it is not chosen any more; jobs on which it was used keep it. ShopError without a reason."""
    require(by, "instrument.write")
    reason = reason_of(reason, _("Say why {instrument} is retired.").format(instrument=instrument))
    row = _locked(instrument)
    _refuse_retired(row)
    row.retired_at, row.retired_by, row.retired_reason = timezone.now(), by, reason
    row.save()
    _tell(row, by, "instrument.retired", _("{instrument} is retired."))
    return row


@transaction.atomic
def instrument_return(*, instrument: Instrument, by: User) -> Instrument:
    """Back into use. Conflict where another one has its serial now; one that is in use stays as it is."""
    require(by, "instrument.write")
    row = _locked(instrument)
    if row.retired_at is None:
        return row
    row.retired_at, row.retired_by, row.retired_reason = None, None, ""
    row = _saved(row)
    _tell(row, by, "instrument.returned", _("{instrument} is in use again."))
    return row


@transaction.atomic
def calibration_add(*, instrument: Instrument, calibrated: Calibrated, by: User) -> Calibration:
    """ShopError for days that cannot be or an uncertainty of what is no multimeter; Conflict where that certificate is
    written down already or the instrument is retired."""
    require(by, "instrument.write")
    row = _locked(instrument)
    _refuse_retired(row)
    _check_calibrated(row, calibrated)
    made = Calibration(instrument=row, at=timezone.now(), by=by)
    for field in Calibrated.__dataclass_fields__:
        value = getattr(calibrated, field)
        setattr(made, field, one_line(value) if isinstance(value, str) else value)
    try:
        with transaction.atomic():
            made.save()
    except IntegrityError as error:
        words = _("Certificate {number} of {laboratory} is written down for {instrument} already.")
        raise Conflict(words.format(number=made.number, laboratory=made.laboratory, instrument=row)) from error
    words = _("{instrument}: calibrated on {day}, valid until {until}.")
    days = {"day": day_words(made.calibrated_on), "until": day_words(made.valid_until)}
    _tell(row, by, "instrument.calibrated", words, **days)
    return made


@transaction.atomic
def calibration_strike(*, calibration: Calibration, reason: str, by: User) -> Calibration:
    """It was written down wrongly: it stays readable and counts no more. ShopError without a reason."""
    require(by, "instrument.write")
    reason = reason_of(reason, _("Say why the calibration is struck out."))
    instrument = _locked(calibration.instrument)
    row = Calibration.objects.select_for_update().get(pk=calibration.pk)
    if row.struck_at is not None:
        raise Conflict(_("This calibration is struck out already."))
    row.struck_at, row.struck_by, row.struck_reason = timezone.now(), by, reason
    row.save(update_fields=["struck_at", "struck_by", "struck_reason"])
    words = _("{instrument}: the calibration of {day} is struck out.")
    _tell(instrument, by, "instrument.struck", words, day=day_words(row.calibrated_on))
    return row


@transaction.atomic
def instrument_choose(*, job: Job, instrument: Instrument, by: User) -> InstrumentUse:
    """`instrument` is what was used on the job for readings of its kind; one that was chosen before is undone by it.
    The same again gives the choice that stands. Conflict where it is retired."""
    require(by, "bench.write")
    job = locked_job(job.pk)
    row = _locked(instrument)
    there = _open(job).filter(kind=row.kind).first()
    if there is not None and there.instrument_id == row.pk:
        return there
    _refuse_retired(row)
    if there is not None:
        _undo(there, by)
    made = InstrumentUse.objects.create(job=job, instrument=row, kind=row.kind, at=timezone.now(), by=by)
    words = _("Used here: {kind} {instrument}.").format(kind=row.get_kind_display().lower(), instrument=row)
    trail_record(by=by, job=job, kind="instrument.chosen", words=words, link=row.get_absolute_url())
    return made


@transaction.atomic
def instrument_unchoose(*, job: Job, use: InstrumentUse, by: User) -> InstrumentUse:
    """It was not this one: undone, and none of its kind is named. Undone before, nothing changes."""
    require(by, "bench.write")
    job = locked_job(job.pk)
    row = job.instrument_uses.select_related("instrument").get(pk=use.pk)
    if row.undone_at is not None:
        return row
    _undo(row, by)
    words = _("Not used here after all: {kind} {instrument}.")
    words = words.format(kind=row.get_kind_display().lower(), instrument=row.instrument)
    trail_record(by=by, job=job, kind="instrument.unchosen", words=words, link=row.instrument.get_absolute_url())
    return row


def _open(job: Job) -> models.QuerySet[InstrumentUse]:
    return job.instrument_uses.filter(undone_at=None)


def _undo(use: InstrumentUse, by: User) -> None:
    use.undone_at, use.undone_by = timezone.now(), by
    use.save(update_fields=["undone_at", "undone_by"])


def _locked(instrument: Instrument) -> Instrument:
    return Instrument.objects.select_for_update().get(pk=instrument.pk)


def _refuse_retired(row: Instrument) -> None:
    if row.retired_at is not None:
        words = _("{instrument} is retired since {day}: take it back into use first, or choose another one.")
        raise Conflict(words.format(instrument=row, day=day_words(timezone.localdate(row.retired_at))))


def _sound(facts: Facts) -> Facts:
    """The facts, tidied. ShopError with what is wrong."""
    name, serial = one_line(facts.name), one_line(facts.serial)
    if facts.kind not in InstrumentKind.values:
        kinds = ", ".join(str(label).lower() for label in InstrumentKind.labels)
        raise ShopError(_("Say what kind of instrument it is: {kinds}.").format(kinds=kinds))
    if not name or not serial:
        raise ShopError(_("Give the instrument a name and its serial number, or a number of your own."))
    _check_accuracy(facts)
    return Facts(facts.kind, name, serial, facts.accuracy_percent, facts.accuracy_volts)


def _check_accuracy(facts: Facts) -> None:
    percent, volts = facts.accuracy_percent, facts.accuracy_volts
    if percent is None and volts is None:
        return
    if facts.kind != InstrumentKind.MULTIMETER:
        raise ShopError(_("Per cent of the reading and volts are the accuracy of a multimeter; leave both empty here."))
    if percent is None or volts is None:
        raise ShopError(_("Give both parts of the accuracy, per cent of the reading and volts, or neither."))
    # Not a number compares as nothing: what is not within the bounds is refused.
    if not (
        percent.is_finite() and volts.is_finite() and 0 <= percent <= PERCENT_AT_MOST and 0 <= volts <= VOLTS_AT_MOST
    ):
        words = _("An accuracy lies between 0 and {percent} % of the reading, and between 0 and {volts} V.")
        raise ShopError(words.format(percent=PERCENT_AT_MOST, volts=VOLTS_AT_MOST))
    if percent == volts == 0:
        raise ShopError(_("No meter is exact: give its accuracy as its maker states it, or leave both empty."))


def _check_calibrated(row: Instrument, calibrated: Calibrated) -> None:
    if not one_line(calibrated.number) or not one_line(calibrated.laboratory):
        raise ShopError(_("Give the number of the calibration’s certificate and the laboratory that issued it."))
    if not EARLIEST <= calibrated.calibrated_on <= timezone.localdate():
        raise ShopError(
            _("The day of the calibration is {day}; expected today or earlier.").format(
                day=day_words(calibrated.calibrated_on)
            )
        )
    if calibrated.valid_until <= calibrated.calibrated_on:
        raise ShopError(_("A calibration is valid until a day after that on which it was made."))
    u = calibrated.expanded_volts
    if u is None:
        return
    if row.kind != InstrumentKind.MULTIMETER:
        raise ShopError(_("An uncertainty in volts is that of a multimeter; leave it empty here."))
    if not u or not _within(u, VOLTS_AT_MOST):
        raise ShopError(
            _("The uncertainty of the calibration lies above 0 V and is at most {volts} V.").format(volts=VOLTS_AT_MOST)
        )


def _within(value: Decimal, most: Decimal) -> bool:
    return value.is_finite() and 0 <= value <= most


def _kept(row: Instrument, facts: Facts) -> Instrument:
    for field in Facts.__dataclass_fields__:
        setattr(row, field, getattr(facts, field))
    return _saved(row)


def _saved(row: Instrument) -> Instrument:
    """Conflict where another one in use has its kind and serial."""
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:
        there = (
            Instrument.objects.filter(kind=row.kind, serial__iexact=row.serial, retired_at=None)
            .exclude(pk=row.pk)
            .first()
        )
        if there is None:
            raise
        words = _("The serial number {serial} is that of {name} already, which is in use.")
        raise Conflict(words.format(serial=row.serial, name=there.name)) from error
    return row


def _tell(row: Instrument, by: User, kind: str, words: str, **days: str) -> None:
    trail_record(by=by, kind=kind, words=words.format(instrument=row, **days), link=row.get_absolute_url())
