"""What past jobs were offered and sold for, and what their parts cost, in bulk. Prices are invented."""

import hashlib
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.utils.translation import gettext as _

from diagnostics.engine.system.model import Position
from reports.demo.writer import BATCH, Books
from shop.estimates import answered_words, line_text, text_of
from shop.models import (
    Answer,
    CostKind,
    Estimate,
    EstimateLine,
    EstimateVersion,
    Job,
    LineAnswer,
    Outlay,
    ShopProfile,
    Task,
    VersionState,
)
from shop.planning.money import cents, hours_of
from shop.services.estimates import GOOD_FOR
from shop.services.people import token_hash

PRICES = {
    "switch": 46, "control-switch": 58, "hall-sensor": 62, "angle-sensor": 148, "cylinder": 340, "pump": 780,
    "valve": 165, "motor": 295, "module": 640,
}  # fmt: skip
OTHER_PRICE = 85
BOUGHT_AT = Decimal("0.68")
"""Of the price at which a part is sold."""
ASKED_MORE, DECLINED = 0.3, 0.6
"""Share of the offers that propose more than is needed, and of those the ones where that was declined."""


@dataclass(frozen=True, slots=True)
class Offer:
    """An estimate that was answered. `parts`: task -> number and position of what it fits; `spent`: when the parts were
    booked; `by_link`: answered by the customer, else written down at the counter."""

    job: Job
    dice: random.Random
    tasks: Sequence[Task]
    parts: Mapping[Task, tuple[str, Position]]
    sent: datetime
    answered: datetime
    spent: datetime
    by_link: bool


def price_of(kind: str) -> Decimal:
    """Of a part for a position of this kind, without tax."""
    return Decimal(PRICES.get(kind, OTHER_PRICE))


def write_offers(offers: Sequence[Offer], books: Books) -> None:
    shop = ShopProfile.objects.get()
    counter = books.users["counter"]
    estimates = [Estimate(job=one.job, number=1, title=_("Estimate"), made_at=one.sent, made_by=counter)
                 for one in offers]  # fmt: skip
    Estimate.objects.bulk_create(estimates, BATCH)
    versions = [_version(one, made, shop, books) for one, made in zip(offers, estimates, strict=True)]
    lines = [list(_lines(one, version, shop)) for one, version in zip(offers, versions, strict=True)]
    for version, own in zip(versions, lines, strict=True):
        version.text = text_of(version, own, shop)
    EstimateVersion.objects.bulk_create(versions, BATCH)
    EstimateLine.objects.bulk_create([line for own in lines for line in own], BATCH)
    answers = []
    for one, version, own in zip(offers, versions, lines, strict=True):
        said = _answers(one, version, own, books)
        _tell(one, version, said, books)
        answers += said
    LineAnswer.objects.bulk_create(answers, BATCH)
    _write_outlays(offers, shop, books)


def _version(one: Offer, made: Estimate, shop: ShopProfile, books: Books) -> EstimateVersion:
    owner = one.job.car.owner
    return EstimateVersion(
        estimate=made, version=1, state=VersionState.SENT, currency=shop.currency, sent_at=one.sent,
        sent_by=books.users["counter"], sent_to=owner.email if owner else "", expires_at=one.sent + GOOD_FOR,
        token_hash=token_hash(one.dice.randbytes(24).hex()),
    )  # fmt: skip


def _lines(one: Offer, version: EstimateVersion, shop: ShopProfile) -> Iterator[EstimateLine]:
    """A line for each task and each part; now and then one thing more, which nobody needs at once."""
    number = 0

    def line(
        kind: CostKind, words: str, quantity: Decimal, unit: str, price: Decimal, task: Task | None
    ) -> EstimateLine:
        nonlocal number
        number += 1
        return EstimateLine(
            version=version, number=number, kind=kind, words=words, quantity=quantity, unit=unit, unit_price=price,
            tax_percent=shop.tax_percent, task=task,
        )  # fmt: skip

    for task in one.tasks:
        yield line(CostKind.LABOUR, task.title, hours_of(task.planned_minutes), _("h"), shop.hourly_rate, task)
        if task in one.parts:
            part, position = one.parts[task]
            words, price = f"{position.name}, part {part}", price_of(position.kind)
            yield line(CostKind.PART, words, Decimal(1), _("piece"), price, task)
    if one.dice.random() < ASKED_MORE:
        yield line(CostKind.LABOUR, "Clean and preserve the seals", Decimal("0.50"), _("h"), shop.hourly_rate, None)


def _answers(one: Offer, version: EstimateVersion, lines: Sequence[EstimateLine], books: Books) -> list[LineAnswer]:
    owner, declined = one.job.car.owner, one.dice.random() < DECLINED
    return [
        LineAnswer(
            line=line, answer=Answer.DECLINED if line.task is None and declined else Answer.APPROVED,
            name=owner.name if owner else "", at=one.answered, text=line_text(version, line),
            noted_by=None if one.by_link else books.users["counter"],
        )
        for line in lines
    ]  # fmt: skip


def _tell(one: Offer, version: EstimateVersion, answers: Sequence[LineAnswer], books: Books) -> None:
    job, title = one.job, version.estimate.title

    def tell(at: datetime, who: str, kind: str, words: str) -> None:
        books.tell(at, who, kind, words, job.car, job, version.get_absolute_url())

    tell(one.sent, "counter", "estimate.made", _("{title} begun.").format(title=title))
    checksum = hashlib.sha256(version.text.encode()).hexdigest()
    words = _("{title}, version {number} sent; SHA-256 of its text: {sum}.")
    tell(one.sent, "counter", "estimate.sent", words.format(title=title, number=1, sum=checksum))
    declined = sum(said.answer == Answer.DECLINED for said in answers)
    words = answered_words(title, approved=len(answers) - declined, declined=declined)
    tell(one.answered, "" if one.by_link else "counter", "estimate.answered", words)


def _write_outlays(offers: Sequence[Offer], shop: ShopProfile, books: Books) -> None:
    """What the fitted parts cost the shop, a little more or less than the price list says."""
    rows = []
    for one in offers:
        for part, position in one.parts.values():
            cost = cents(price_of(position.kind) * BOUGHT_AT * Decimal(str(round(one.dice.uniform(0.94, 1.15), 2))))
            row = Outlay(
                job=one.job, kind=CostKind.PART, words=f"{position.name}, part {part}", quantity=Decimal(1),
                unit=_("piece"), unit_price=cost, tax_percent=shop.tax_percent, at=one.spent,
                by=books.users["parts"],
            )  # fmt: skip
            rows.append(row)
            words = _("{kind}: {words}.").format(kind=row.get_kind_display(), words=row.words)
            link = one.job.get_absolute_url()
            books.tell(one.spent, "parts", "outlay.added", words, one.job.car, one.job, link)
    Outlay.objects.bulk_create(rows, BATCH)
