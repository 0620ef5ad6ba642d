"""What parts and outside work really cost, and the rates of the shop."""

import datetime as dt
from decimal import Decimal

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.errors import Conflict, ShopError
from shop.estimates import money_words
from shop.models import CostKind, Job, Outlay, ShopProfile, User
from shop.permissions import require
from shop.services.estimates import check_priced
from shop.services.trail import trail_record


@transaction.atomic
def outlay_add(
    *,
    job: Job,
    by: User,
    kind: str,
    words: str,
    quantity: Decimal,
    unit: str,
    unit_price: Decimal,
    tax_percent: Decimal,
) -> Outlay:
    """What a part or outside work cost the shop on this job."""
    require(by, "outlay.write")
    words = " ".join(words.split())
    check_priced(words, quantity, unit_price)
    if kind not in (CostKind.PART, CostKind.OUTSIDE):
        raise ShopError(_("Only parts and outside work are booked; labour is what the clocks say."))
    made = Outlay.objects.create(
        job=job, kind=kind, words=words, quantity=quantity, unit=" ".join(unit.split()), unit_price=unit_price,
        tax_percent=tax_percent, at=timezone.now(), by=by,
    )  # fmt: skip
    trail_record(by=by, kind="outlay.added", words=_outlay_words(made), job=job, link=job.get_absolute_url())
    return made


@transaction.atomic
def outlay_strike(*, outlay: Outlay, by: User) -> None:
    """It was booked wrongly: it stays readable and counts no more."""
    require(by, "outlay.write")
    row = Outlay.objects.select_for_update().select_related("job").get(pk=outlay.pk)
    if row.struck_at is not None:
        raise Conflict(_("This outlay is struck already."))
    row.struck_at, row.struck_by = timezone.now(), by
    row.save(update_fields=["struck_at", "struck_by"])
    words = _("Struck: {outlay}").format(outlay=_outlay_words(row))
    trail_record(by=by, kind="outlay.struck", words=words, job=row.job, link=row.job.get_absolute_url())


def _outlay_words(outlay: Outlay) -> str:
    """Without the sum: the trail is the car's, and its next owner is told of it."""
    return _("{kind}: {words}.").format(kind=outlay.get_kind_display(), words=outlay.words)


@transaction.atomic
def rates_set(
    *,
    by: User,
    opens_at: dt.time,
    closes_at: dt.time,
    break_minutes: int,
    work_days: str,
    hourly_rate: Decimal,
    tax_percent: Decimal,
    currency: str,
    inspection_fee: Decimal | None = None,
    inspection_terms: str = "",
) -> ShopProfile:
    """When the shop is open and at what rates it works. Estimates that exist keep theirs. `inspection_fee` None: no
    commissions from outside. ShopError for a fee without terms. Conflict for another currency
    than that of outlays in the books: an outlay is in the currency of the shop."""
    require(by, "rates.write")
    shop = ShopProfile.objects.select_for_update().first() or ShopProfile(pk=1, name=_("Our shop"), address="")
    open_minutes = (closes_at.hour - opens_at.hour) * 60 + closes_at.minute - opens_at.minute
    if open_minutes <= 0:
        raise ShopError(_("The shop must close later on the day than it opens."))
    if break_minutes >= open_minutes:
        raise ShopError(
            _("The break is as long as the day; expected less than {most} minutes.").format(most=open_minutes)
        )
    if "1" not in work_days:
        raise ShopError(_("Choose at least one day on which the shop works."))
    if inspection_fee is not None and not inspection_terms.strip():
        raise ShopError(_("Say on what terms a buyer commissions an inspection: the fee alone is not accepted."))
    if currency != shop.currency and Outlay.objects.filter(struck_at=None).exists():
        words = _("Outlays are booked in {was} and would be read as {now}. Strike them first, or keep {was}.")
        raise Conflict(words.format(was=shop.currency, now=currency))
    shop.opens_at, shop.closes_at, shop.break_minutes = opens_at, closes_at, break_minutes
    shop.work_days, shop.currency = work_days, currency
    shop.hourly_rate, shop.tax_percent = hourly_rate, tax_percent
    shop.inspection_fee, shop.inspection_terms = inspection_fee, inspection_terms.strip()
    shop.save()
    words = _("Rates and hours set: {rate} an hour, tax {tax} %, {opens} to {closes}.").format(
        rate=money_words(hourly_rate, currency), tax=tax_percent, opens=f"{opens_at:%H:%M}", closes=f"{closes_at:%H:%M}"
    )
    trail_record(by=by, kind="shop.rates", words=words)
    return shop
