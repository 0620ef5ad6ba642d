"""Estimates of the cars that are here: one that waits for an answer, one approved, one partly declined, a supplement
after more was found, one in its second version."""

from collections.abc import Callable, Mapping
from datetime import datetime
from decimal import Decimal

from reports.demo.open_plans import BACK_ORDER, Here
from reports.demo.past_offers import price_of
from reports.demo.then import Days, then
from shop.models import Answer, CostKind, EstimateLine, EstimateVersion, ShopProfile, TaskPart
from shop.services import (
    answers_keep,
    estimate_make,
    estimate_send,
    estimate_words,
    line_keep,
    outlay_add,
    version_next,
)

CHROMING, CHEAPER = Decimal(95), Decimal(62)
"""What the chroming was thought to cost, and what it was offered for."""


def write_open_offers(here: Here, days: Days) -> None:
    write = _STORIES.get((str(here.job.stage), here.job.hold_note))
    if write is not None:
        write(here, days)


def _waiting(here: Here, days: Days) -> None:
    version = _drafted(here, days.at(-2, 10.5), "The tracing is charged by what it takes; this is what we expect.")
    _sent(here, version, days.at(-2, 11))


def _approved(here: Here, days: Days) -> None:
    version = _drafted(here, days.at(-3, 11))
    _sent(here, version, days.at(-3, 11.25))
    _answered(here, version, days.at(-3, 13.5))


def _second_version(here: Here, days: Days) -> None:
    """The first is replaced: the chroming is offered for less than was thought."""
    first = _drafted(here, days.at(-5, 11))
    _sent(here, first, days.at(-5, 11.5))
    with then(days.at(-4, 9.5)):
        second = version_next(version=first, by=here.users["counter"])
        for line in second.lines.filter(kind=CostKind.OUTSIDE):
            _line(here, second, line.kind, line.words, "1", line.unit, str(CHEAPER), line=line)
    _sent(here, second, days.at(-4, 9.75))
    _answered(here, second, days.at(-4, 15), noted=True)


def _partly(here: Here, days: Days) -> None:
    version = _drafted(here, days.at(-2, 14.5))
    with then(days.at(-2, 14.5)):
        _line(here, version, CostKind.LABOUR, "Clean and preserve the seals", "0.50", "h", "90")
        _line(here, version, CostKind.PART, "Rear window seal, hardened at its corners", "1", "piece", "128")
    _sent(here, version, days.at(-2, 15))
    seal = version.lines.get(kind=CostKind.PART, words__startswith="Rear window")
    _answered(here, version, days.at(-2, 16.5), declined=seal)
    with then(days.at(-1, 8.5)):
        shop, part = ShopProfile.objects.get(), TaskPart.objects.filter(task__job=here.job).first()
        outlay_add(
            job=here.job, by=here.users["parts"], kind=CostKind.PART, words=part.name if part else "Contact cleaner",
            quantity=Decimal(1), unit="piece", unit_price=Decimal("31.40"), tax_percent=shop.tax_percent,
        )  # fmt: skip


def _supplement(here: Here, days: Days) -> None:
    """What was found while the place lay open is asked for by itself and waits."""
    first = _drafted(here, days.at(-4, 11))
    _sent(here, first, days.at(-4, 11.5))
    _answered(here, first, days.at(-4, 15))
    with then(days.at(-2, 14)):
        more = estimate_make(job=here.job, by=here.users["counter"], from_plan=False)
        words = "With the trim off we saw two things that are cheaper to do now than next year."
        estimate_words(version=more, by=here.users["counter"], title=more.estimate.title, words=words)
        _line(here, more, CostKind.PART, "Length of loom at the hinge, chafed through its sleeve", "1", "piece", "96")
        _line(here, more, CostKind.LABOUR, "Renew it and bind it clear of the hinge", "1.25", "h", "90")
        _line(here, more, CostKind.LABOUR, "Clean and grease the main bearings", "0.50", "h", "90")
    _sent(here, more, days.at(-2, 14.5))


_STORIES: Mapping[tuple[str, str], Callable[[Here, Days], None]] = {
    ("here", "quote sent, no word yet"): _waiting,
    ("mending", "ordered, two days"): _approved,
    ("mending", BACK_ORDER): _second_version,
    ("mending", ""): _partly,
    ("mending", "wants to think about the price"): _supplement,
}


def _drafted(here: Here, at: datetime, words: str = "") -> EstimateVersion:
    """From the plan, with a price for each part."""
    with then(at):
        version = estimate_make(job=here.job, by=here.users["counter"], from_plan=True)
        kinds = {position.part: position.kind for position in here.system.positions.values()}
        for line in version.lines.filter(unit_price=0):
            part = next((row for row in line.task.parts.all()), None) if line.task else None
            price = CHROMING if line.kind == CostKind.OUTSIDE else price_of("switch")
            price = price_of(kinds[part.part]) if part and part.part in kinds else price
            _line(here, version, line.kind, line.words, str(line.quantity), line.unit, str(price), line=line)
        if words:
            estimate_words(version=version, by=here.users["counter"], title=version.estimate.title, words=words)
    return version


def _line(
    here: Here, version: EstimateVersion, kind: str, words: str, quantity: str, unit: str, price: str,
    line: EstimateLine | None = None,
) -> None:  # fmt: skip
    line_keep(
        version=version, by=here.users["counter"], kind=kind, words=words, quantity=Decimal(quantity), unit=unit,
        unit_price=Decimal(price), tax_percent=ShopProfile.objects.get().tax_percent, line=line,
    )  # fmt: skip


def _sent(here: Here, version: EstimateVersion, at: datetime) -> None:
    owner = here.job.car.owner
    with then(at):
        estimate_send(version=version, by=here.users["counter"], to=owner.email if owner else "", hold=False)


def _answered(
    here: Here, version: EstimateVersion, at: datetime, *, declined: EstimateLine | None = None, noted: bool = False
) -> None:
    owner = here.job.car.owner
    said = {line.pk: Answer.DECLINED if line == declined else Answer.APPROVED for line in version.lines.all()}
    with then(at):
        answers_keep(
            version=version, answers={pk: str(answer) for pk, answer in said.items()},
            name=owner.name if owner else "The owner", noted_by=here.users["counter"] if noted else None,
        )  # fmt: skip
