"""The demo's shelf: suppliers and offers, half a year of deliveries, what was fitted since, a count, orders under way.

Everything is written by the services that the pages use, at the time at which a person would have done it: the ledger
begins OPENED days ago with what lay there then, and every part that jobs fitted after that comes off it.
"""

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, tzinfo
from decimal import Decimal

from django.utils.translation import gettext as _

from diagnostics.models import Unit
from parts.models import Lot, Offer, OrderLine, Part, Stock, Supplier, Tracking
from parts.services import (
    core_in,
    count_write,
    goods_in,
    lot_bar,
    need_add,
    offer_set,
    order_line_add,
    order_receive,
    order_send,
    part_change,
    part_issue,
    rebuilt,
    stocktake_begin,
    stocktake_close,
    supplier_set,
)
from parts.services.taking import issue
from reports.demo.jobs import at, workday
from reports.demo.records import JobRecord
from reports.demo.then import Days, then
from shop.models import Hold, Job, User

OPENED = 200
"""Days ago."""
SUPPLIERS = (
    # name, days it states (None: none), stretch of the days that it really takes
    ("Ostermark Switchgear", 4, (0.8, 2.2)),
    ("Hallinger Hydraulics", 12, (0.9, 1.6)),
    ("Quay Street Trim", None, (5.0, 9.0)),
)  # fmt: skip
KINDS = {
    # letters of a part's number -> supplier, price from and to, minimum, rebuilt
    "BG": (0, (14, 46), 1, False), "SF": (0, (22, 60), 0, False), "KF": (0, (280, 690), 0, False),
    "QM": (1, (48, 95), 0, False), "MM": (1, (120, 260), 0, True), "GP": (1, (310, 540), 0, True),
    "MA": (1, (95, 210), 0, False), "MB": (2, (38, 120), 0, False), "GB": (2, (60, 140), 0, False),
}  # fmt: skip
FOLLOWED = ("TW-BGA-3015", "TW-MMB-5010")
"""Parts whose batches are followed; one batch of the first is barred."""
MODULE = "TW-KFA-1100"
"""A part that is ordered when a job needs it."""
SPARE = (
    # number, name, pieces at the opening, of each pack, price
    ("TW-SEA-0010", "Seal for the header, by the metre", 18, 6, "7.40"),
    ("TW-OIL-0020", "Hydraulic fluid, litre", 12, 4, "11.90"),
)  # fmt: skip


@dataclass(slots=True)
class Keeper:
    """Who keeps the shelf, and what is on its way: (day, line, pieces)."""

    by: User
    zone: tzinfo
    rng: random.Random
    coming: list[tuple[date, OrderLine]] = field(default_factory=list)
    batches: int = 0

    def clock(self, day: date, hour: float) -> datetime:
        return at(day, hour, self.zone)

    def batch(self, part: Part) -> str:
        if part.tracking == Tracking.NONE:
            return ""
        self.batches += 1
        return f"{part.number[3:6]}-{self.batches:03d}"


def write_shelf(jobs: Sequence[tuple[Job, JobRecord]], users: Mapping[str, User], today: date, days: Days) -> None:
    """After all work of the scenario is written; `days` as the rest of the shop's day counts them."""
    keeper = Keeper(users["parts"], days.zone, random.Random(606))  # noqa: S311 - an invented shop, the same each time
    opened = workday(today - timedelta(days=OPENED), back=True)
    with then(keeper.clock(opened, 7.5)):
        _catalogue(keeper)
        _opening(keeper)
    eve = days.day(-1)
    _follow(keeper, opened, eve)
    _count(keeper, days)
    _under_way(keeper, days)
    _jobs_of_today(jobs, users, days)


def _catalogue(keeper: Keeper) -> None:
    """Places, minimums, suppliers and what they ask."""
    by = keeper.by
    for number, name, _pieces, _pack, _price in SPARE:
        Part.objects.create(number=number, name=_(name))
    suppliers = [supplier_set(by=by, name=name, lead_days=days) for name, days, _real in SUPPLIERS]
    for place, part in enumerate(Part.objects.order_by("number")):
        supplier, (low, high), minimum, rebuilt_here = KINDS.get(part.number[3:5], (2, (5, 12), 2, False))
        ordered = part.superseded_by_id is None
        part_change(
            part=part, by=by, name=part.name, rebuildable=rebuilt_here, minimum=minimum if ordered else 0,
            tracking=Tracking.BATCH if part.number in FOLLOWED else Tracking.NONE,
            place=f"{chr(65 + place // 12)} {place % 12 + 1}", old_usable=part.number.startswith("TW-MM"),
        )  # fmt: skip
        spare = next((one for one in SPARE if one[0] == part.number), None)
        price = Decimal(spare[4]) if spare else Decimal(keeper.rng.randint(low * 20, high * 20)) / 20
        if ordered:
            offer_set(part=part, supplier=suppliers[supplier], by=by, price=price, pack=spare[3] if spare else 1)


def _opening(keeper: Keeper) -> None:
    """What lay there on the day on which the ledger was begun."""
    spare = {number: pieces for number, _name, pieces, _pack, _price in SPARE}
    why = _("there when the books were opened")
    for part in Part.objects.order_by("number"):
        small = part.number[3:5] in ("BG", "SF", "MB")  # what is large and dear is ordered when somebody needs it
        pieces = spare.get(part.number, 1 + (keeper.rng.random() < 0.5) if small else 0)
        if pieces:
            goods_in(part=part, by=keeper.by, quantity=pieces, lot=keeper.batch(part), why=why)


def _follow(keeper: Keeper, opened: date, eve: date) -> None:
    """Each part that was fitted comes off the shelf, and is ordered again when the last piece goes."""
    fitted = Unit.objects.filter(fitted_on__gt=opened, fitted_on__lte=eve, fitted_job__isnull=False)
    parts = {part.number: part for part in Part.objects.all()}
    for unit in fitted.select_related("fitted_job").order_by("fitted_on", "pk"):
        part = parts.get(unit.part)
        if part is None or unit.fitted_on is None:
            continue
        _arrived(keeper, unit.fitted_on)
        with then(keeper.clock(unit.fitted_on, 14)):
            _hand_out(keeper, part, unit)
        if part.superseded_by_id is None:
            _again(keeper, part, unit.fitted_on, eve)
    _arrived(keeper, eve)


def _hand_out(keeper: Keeper, part: Part, unit: Unit) -> None:
    if _free(part) < 1:
        goods_in(part=part, by=keeper.by, quantity=1, lot=keeper.batch(part), why=_("fetched, it could not wait"))
    lot = Lot.objects.filter(part=part, quantity__gt=0).first()
    assert unit.fitted_job is not None  # noqa: S101 - asked for by the caller
    issue(part=part, job=unit.fitted_job, by=keeper.by, quantity=1, lot=lot, unit=unit, why="")
    if part.rebuildable and keeper.rng.random() < 0.7:
        core_in(part=part, by=keeper.by, why=_("came off {number}").format(number=unit.fitted_job.number))


def _again(keeper: Keeper, part: Part, day: date, eve: date) -> None:
    """Order where nothing is left and nothing is on its way; or rebuild, where two cores wait."""
    if _free(part) > 0 or any(line.part_id == part.pk for _due, line in keeper.coming):
        return
    if part.rebuildable and Stock.objects.get(part=part).cores >= 2:
        with then(keeper.clock(day, 14)):  # another piece may be handed out on the same day
            rebuilt(part=part, by=keeper.by, lot=keeper.batch(part), why=_("rebuilt on the bench"))
        return
    offer = Offer.objects.select_related("supplier").get(part=part, preferred=True)
    with then(keeper.clock(day, 16)):
        line = order_line_add(supplier=offer.supplier, part=part, by=keeper.by, quantity=2 * offer.pack)
        order_send(order=line.order, by=keeper.by)
    _name, stated, (low, high) = next(one for one in SUPPLIERS if one[0] == offer.supplier.name)
    took = round((stated or 1) * keeper.rng.uniform(low, high))
    keeper.coming.append((workday(day + timedelta(days=max(took, 1))), line))


def _arrived(keeper: Keeper, until: date) -> None:
    due = sorted((one for one in keeper.coming if one[0] <= until), key=lambda one: (one[0], one[1].pk))
    keeper.coming = [one for one in keeper.coming if one[0] > until]
    for day, line in due:
        with then(keeper.clock(day, 8)):
            order_receive(line=line, by=keeper.by, quantity=line.quantity, lot=keeper.batch(line.part))


def _count(keeper: Keeper, days: Days) -> None:
    """Two parts counted a fortnight ago, one of which was a piece short; and a batch that nobody is to fit any more."""
    counted = list(Stock.objects.filter(part__tracking=Tracking.NONE, shelf__gt=1).select_related("part")[:2])
    with then(days.at(-1, 16.5)):
        count = stocktake_begin(by=keeper.by, note=_("Rack A"))
        for short, stock in enumerate(counted):
            count_write(
                stocktake=count, part=stock.part, by=keeper.by, counted=stock.shelf - short,
                why=_("one lay open, thrown away") if short else "",
            )  # fmt: skip
        stocktake_close(stocktake=count, by=keeper.by)
        goods = goods_in(part=Part.objects.get(number=FOLLOWED[0]), by=keeper.by, quantity=2, lot="BGA-090")
        assert goods.lot is not None  # noqa: S101 - a part whose batches are followed
        lot_bar(lot=goods.lot, by=keeper.by, why=_("two of it stuck on the bench"))


def _under_way(keeper: Keeper, days: Days) -> None:
    """An order that is late, one of which half has come, one that a job waits for, and a draft."""
    switches, hydraulics, trim = (Supplier.objects.get(name=name) for name, _days, _real in SUPPLIERS)
    with then(days.at(-15, 10)):
        late = _line(keeper, trim, "TW-MBA-7001", 2).order
        order_send(order=late, by=keeper.by, expected_on=days.day(-5), their_reference="QS 4471")
    with then(days.at(-9, 10)):
        half = _line(keeper, switches, "TW-BGD-3302", 4)
        order_send(order=half.order, by=keeper.by, expected_on=days.day(3))
    with then(days.at(-4, 10)):
        module = _line(keeper, switches, MODULE, 1)
        order_send(order=module.order, by=keeper.by, expected_on=days.day(4))
    with then(days.at(-1, 17)):
        order_receive(line=OrderLine.objects.get(pk=half.pk), by=keeper.by, quantity=2)
    with then(days.at(-1, 17.2)):
        _line(keeper, hydraulics, "TW-MMD-5030", 1)


def _line(keeper: Keeper, supplier: Supplier, number: str, pieces: int) -> OrderLine:
    return order_line_add(supplier=supplier, part=Part.objects.get(number=number), by=keeper.by, quantity=pieces)


def _jobs_of_today(jobs: Sequence[tuple[Job, JobRecord]], users: Mapping[str, User], days: Days) -> None:
    """What the cars in the shop ask for: reserved, handed out, waited for, and a suspect's part that is not
    there."""
    mending = next((job for job, _record in jobs if (job.stage, job.hold) == ("mending", "nothing")), None)
    tracing = next((job for job, _record in jobs if (job.stage, job.hold) == ("tracing", "nothing")), None)
    seal, oil = (Part.objects.get(number=number) for number, *_rest in SPARE)
    tech = users["tech"]
    waits = next((job for job, _record in jobs if job.is_open and job.hold == Hold.PART), None)
    module = Part.objects.get(number=MODULE)
    with then(days.at(-1, 17.5)):
        if waits is not None:
            need_add(job=waits, part=module, by=users["tech"])
        if mending is not None:
            need_add(job=mending, part=seal, by=tech, quantity=2, why=_("the header leaks at the left"))
            part_issue(part=oil, job=mending, by=users["parts"], quantity=1)
        if tracing is not None:
            need_add(job=tracing, part=module, by=tech, chance=0.2, why=_("if no switch is at fault"))


def _free(part: Part) -> int:
    stock = Stock.objects.filter(part=part).first()
    return stock.free if stock is not None else 0
