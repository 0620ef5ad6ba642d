"""What it would cost to put right what was found, from this shop's own prices: no offer, but an order of size."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal

from django.db.models import Q

from diagnostics.engine.faults import Repair, faults_of, repair_of
from diagnostics.engine.system.model import TopSystem
from diagnostics.selectors.suspects import OPEN_SUSPECT
from parts.models import Offer
from reports.document.content import Finding, PriceFrom, PutRight, PutRightRow
from shop.models import CostKind, EstimateLine, ShopProfile, VersionState
from shop.planning.money import Priced, cents, hours_of, totals

LIKELY = 0.5
"""A repair at least as likely to be needed counts in the lower sum."""

Price = tuple[Decimal, PriceFrom]


def put_right(
    system: TopSystem | None,
    repairs: Mapping[str, float],
    findings: Sequence[Finding],
    shop: ShopProfile,
    on: date,
) -> PutRight | None:
    """None where nothing is open or the top system is not declared. `repairs`: repair -> chance that it is needed."""
    subjects = {one.position: one.subject for one in findings}
    if system is None or not findings:
        return None
    needed = [(one, repairs[one.key]) for one in _repairs(system) if repairs.get(one.key, 0.0) > OPEN_SUSPECT]
    needed.sort(key=lambda pair: (-round(pair[1], 3), pair[0].key))
    parts = (system.positions[one.position].part for one, _chance in needed if one.kind == "replace")
    prices = _prices(parts, shop.currency)
    rows = tuple(_row(system, one, chance, prices, shop) for one, chance in needed)
    told = {row.position for row in rows}
    return PutRight(
        as_of=on,
        currency=shop.currency,
        hourly_rate=shop.hourly_rate,
        tax_percent=shop.tax_percent,
        rows=rows,
        least=_gross((row for row in rows if row.chance >= LIKELY), shop),
        most=_gross(rows, shop),
        unpriced=tuple(subject for position, subject in subjects.items() if position not in told),
    )


def _repairs(system: TopSystem) -> list[Repair]:
    return list({one.key: one for one in (repair_of(system, fault) for fault in faults_of(system))}.values())


def _row(system: TopSystem, one: Repair, chance: float, prices: Mapping[str, Price], shop: ShopProfile) -> PutRightRow:
    part = system.positions[one.position].part if one.kind == "replace" else ""
    found = prices.get(part.upper())
    hours = hours_of(Decimal(str(round(one.minutes, 1))))
    return PutRightRow(
        position=one.position,
        words=one.words,
        chance=round(chance, 3),
        hours=hours,
        labour=cents(hours * shop.hourly_rate),
        part=part,
        part_price=found[0] if found else None,
        price_from=found[1] if found else "",
    )


def _prices(parts: Iterable[str], currency: str) -> dict[str, Price]:
    """Part number in capitals -> what a customer was asked for a piece last, else what the shop pays; without tax."""
    known = [part for part in parts if part]
    wanted = {part.upper() for part in known}
    if not wanted:
        return {}
    paid = Offer.objects.filter(part__number__in=[*known, *wanted], price__isnull=False).order_by("preferred", "-pk")
    prices: dict[str, Price] = {
        number.upper(): (price, "paid") for number, price in paid.values_list("part__number", "price") if price
    }
    named = Q()
    for part in wanted:
        named |= Q(words__icontains=part)
    asked = EstimateLine.objects.filter(named, kind=CostKind.PART, unit_price__gt=0, version__currency=currency)
    asked = asked.exclude(version__state=VersionState.DRAFT).order_by("version__sent_at", "pk")
    for words, price in asked.values_list("words", "unit_price"):
        for word in words.upper().split():
            if (number := word.strip(",;.()")) in wanted:
                prices[number] = (price, "asked")
    return prices


def _gross(rows: Iterable[PutRightRow], shop: ShopProfile) -> Decimal:
    """With tax, of labour and of the parts whose price is known."""
    amounts = [amount for row in rows for amount in (row.labour, row.part_price) if amount is not None]
    return totals(Priced(Decimal(1), amount, shop.tax_percent) for amount in amounts).gross
