"""What the shelf plan is made from, read for all parts at once: chains, stock, terms, forecasts, past demand."""

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from statistics import median

import numpy as np
from django.db.models import F, Sum
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from diagnostics.engine.system.model import TopSystem
from diagnostics.learning.fleet import Draws, Fleet
from diagnostics.models import Unit
from diagnostics.selectors import newest_revisions, system_of
from diagnostics.selectors.as_of import learned_as_of
from diagnostics.selectors.failure_model import Learned, models_now
from diagnostics.selectors.fleet_chances import OpenFault, fleet_of, open_faults, part_shares
from diagnostics.selectors.learning import newest_learning
from parts.models import Fit, Need, NeedState, Offer, OrderLine, OrderState, Part, ShelfPolicy
from parts.models import Stock as StockRow
from parts.planning.backtest import origins_of
from parts.planning.coming import Coming, coming_of
from parts.planning.counts import Floats
from parts.planning.demand import Asked, Demand, Needer, asked_in, demand, who_will_need
from parts.planning.lead_times import LeadTime
from parts.planning.part_plan import Stock, Terms
from parts.planning.poisson_binomial import pmf
from parts.planning.shelf_plan import Candidate, span_of
from parts.planning.supersession import Chain, chains, pooled
from parts.selectors.asked import asked_by_month
from parts.selectors.lead_times import lead_times, of_part
from parts.services.waiting import LIKELY

NO_PRICE = Decimal("20.00")
"""Counted for a part whose price nobody told, where no part of the shelf has one. Assumption."""
EVERY = 3
"""Months between two past months as of which the failure model is learned anew and asked: each is a whole learning."""
PAST_YEARS = 3
MOST_MONTHS = 6
"""Of the span: what takes longer to come is no part that a shop keeps by forecast. Assumption."""
Tell = Callable[[int, int, str], None]


@dataclass(frozen=True, slots=True)
class Told:
    """Of a candidate: its part and what it supersedes, the offer it would be ordered by (None: nobody delivers it), and
    the failure model's forecast, None where it says nothing of it; `needers`: the units that ask for it likeliest;
    `price_known`: whether the price is."""

    part: Part
    chain: Chain
    offer: Offer | None
    lead: LeadTime
    demand: Demand | None
    needers: tuple[Needer, ...]
    suspects: tuple[float, ...]
    price_known: bool


@dataclass(frozen=True, slots=True, eq=False)
class Prepared:
    """Everything that `shelf_plan.plan_shelf` takes; `told` in the order of `candidates`."""

    span: int
    told: tuple[Told, ...]
    candidates: tuple[Candidate, ...]
    history: Floats
    outside: Floats | None


@dataclass(frozen=True, slots=True, eq=False)
class SystemAsked:
    """A top system of which something was learned: its fleet on a day, how its cars come, its open suspects."""

    system: TopSystem
    fleet: Fleet
    coming: Coming
    drawn: Draws
    suspects: tuple[OpenFault, ...] = ()


def prepared(
    today: dt.date, months: int, policy: ShelfPolicy, tell: Tell, stock: Mapping[str, Stock] | None = None
) -> Prepared:
    """Read the shop; `stock` by part number, other than today's (see past_stock). A number of queries that grows with
    top systems and open jobs, not with cars or parts; and a learning for every EVERY months of the last PAST_YEARS
    years, for what the failure model would have said then."""
    by_number = {part.number: part for part in Part.objects.select_related("superseded_by")}
    found = chains(
        {number: part.superseded_by.number if part.superseded_by else None for number, part in by_number.items()},
        {number for number, part in by_number.items() if part.old_usable},
    )
    order = sorted(found)
    history = asked_by_month([_numbers(found[number]) for number in order], today)
    tell(0, 1, _("Reading the shelf and the fleet"))
    systems = systems_asked(today, Draws())
    told = _told([found[number] for number in order], by_number, systems, months, today)
    span = min(span_of([one.lead for one in told], policy.review_days), MOST_MONTHS)
    candidates = _candidates(told, systems, span, policy, stock if stock is not None else _stock())
    outside = _as_of_past(told, history.shape[1], span, today, tell)
    return Prepared(span, tuple(told), candidates, history, outside)


def systems_asked(
    today: dt.date, drawn: Draws, learned: Mapping[str, Learned] | None = None, *, jobs: bool = True
) -> list[SystemAsked]:
    """The top systems of which something is learned, as they stood on a day; `learned`: models other than today's."""
    out = []
    for revision in newest_revisions():
        mine = learned.get(revision.slug) if learned is not None else models_now(revision.slug)
        if mine is None:
            continue
        system = system_of(revision)
        fleet = fleet_of(system, mine, today)
        suspects = tuple(open_faults(system, part_shares(system))) if jobs else ()
        out.append(SystemAsked(system, fleet, coming_of(fleet, drawn), drawn, suspects))
    return out


def asked_of(chain: Chain, systems: Sequence[SystemAsked], places: Mapping[str, Mapping[str, set[str]]]) -> list[Asked]:
    """What may ask for a chain's part, in every system. `places`: number -> system -> positions that it fits."""
    out = []
    numbers = _numbers(chain)
    for one in systems:
        here = {code for code, position in one.system.positions.items() if position.part in numbers}
        for number in numbers:
            here |= places.get(number, {}).get(one.system.system, set())
        asked = asked_in(one.fleet, one.coming, numbers, here)
        if asked.cohorts:
            out.append(asked)
    return out


def fits_by_number() -> dict[str, dict[str, set[str]]]:
    """Part number -> system -> positions, as the catalogue says."""
    found: dict[str, dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for number, system, position in Fit.objects.values_list("part__number", "system", "position"):
        found[number][system].add(position)
    return found


def _told(
    all_chains: Sequence[Chain],
    parts: Mapping[str, Part],
    systems: Sequence[SystemAsked],
    months: int,
    today: dt.date,
) -> list[Told]:
    offers = {one.part_id: one for one in Offer.objects.filter(preferred=True).select_related("supplier")}
    learned, places = lead_times(today), fits_by_number()
    suspects = _suspects(systems)
    drawn = systems[0].drawn if systems else Draws()
    out = []
    for chain in all_chains:
        part = parts[chain.part]
        offer = offers.get(part.pk)
        asked = asked_of(chain, systems, places)
        mine = tuple(chance for number in _numbers(chain) for chance in suspects.get(number, ()))
        forecast = demand(asked, drawn, months, mine) if asked else None
        needers = tuple(who_will_need(asked, drawn, months)) if asked else ()
        price_known = offer is not None and offer.price is not None
        out.append(Told(part, chain, offer, of_part(learned, offer), forecast, needers, mine, price_known))
    return out


def _candidates(
    told: Sequence[Told],
    systems: Sequence[SystemAsked],
    span: int,
    policy: ShelfPolicy,
    stock: Mapping[str, Stock],
) -> tuple[Candidate, ...]:
    places = fits_by_number()
    prices = [one.offer.price for one in told if one.offer is not None and one.offer.price is not None]
    usual = median(prices) if prices else NO_PRICE
    bare = [replace(one, fleet=_bare(one.fleet)) for one in systems]
    out = []
    for one in told:
        price = one.offer.price if one.offer is not None and one.offer.price is not None else usual
        terms = Terms(
            price=price, ordering=policy.order_cost, holding=policy.holding_rate, target=policy.ready_rate,
            pack=one.offer.pack if one.offer else 1, minimum=one.part.minimum, held_up_days=one.lead.median,
        )  # fmt: skip
        asked = asked_of(one.chain, systems, places)
        ranged = any(_has_range(one) for one in asked)
        out.append(
            Candidate(
                key=one.part.pk, stock=pooled(one.chain, stock), terms=terms, lead=one.lead,
                model=_over(asked, systems, span, one.suspects),
                model_months=tuple(month.chances for month in one.demand.months) if one.demand else (),
                no_ranges=_over(asked_of(one.chain, bare, places), bare, span, one.suspects) if ranged else None,
                jobs=pmf(np.asarray(one.suspects)) if one.suspects else None,
            )
        )  # fmt: skip
    return tuple(out)


def _over(
    asked: Sequence[Asked], systems: Sequence[SystemAsked], span: int, suspects: Sequence[float]
) -> Floats | None:
    """What is asked for over the span as a whole; None where the failure model says nothing."""
    return demand(asked, systems[0].drawn, span, suspects).whole.chances if asked else None


def _has_range(asked: Asked) -> bool:
    return any(way.model.used for cohort in asked.cohorts for way in cohort.ways)


def _bare(fleet: Fleet) -> Fleet:
    fitted = tuple(
        replace(one, ways=tuple(replace(way, model=replace(way.model, ranges=())) for way in one.ways))
        for one in fleet.fitted
    )
    return replace(fleet, fitted=fitted)


def _suspects(systems: Sequence[SystemAsked]) -> dict[str, list[float]]:
    """Part number -> chances that open jobs need a piece, of jobs that have not asked for one yet."""
    asked_already = set(Need.objects.exclude(state=NeedState.DROPPED).values_list("job", "position"))
    cars = {fault.car for one in systems for fault in one.suspects}
    units = Unit.objects.filter(car__in=cars, removed_on=None).values_list("car", "position", "part")
    fitted = {(car, position): part for car, position, part in units}
    found: dict[str, list[float]] = defaultdict(list)
    for one in systems:
        for (job, car, position), chance in _by_place(one.suspects).items():
            if (job, position) not in asked_already and chance > 0:
                number = fitted.get((car, position)) or one.system.positions[position].part
                found[number].append(chance)
    return found


def _by_place(suspects: Iterable[OpenFault]) -> dict[tuple[int, int, str], float]:
    """Faults at one position of one job ask for one piece at most: their chances added up."""
    found: dict[tuple[int, int, str], float] = defaultdict(float)
    for one in suspects:
        found[one.job, one.car, one.position] = min(found[one.job, one.car, one.position] + one.needs, 1.0)
    return found


def _stock() -> dict[str, Stock]:
    """Part number -> pieces on the shelf, on order, and promised: what open jobs likely need, reserved or not."""
    coming = dict(
        OrderLine.objects.filter(order__state=OrderState.SENT, quantity__gt=F("received") + F("given_up"))
        .order_by()
        .values_list("part")
        .annotate(n=Sum(F("quantity") - F("received") - F("given_up")))
    )
    promised = dict(
        Need.objects.filter(state=NeedState.OPEN, chance__gte=LIKELY)
        .order_by()
        .values_list("part")
        .annotate(n=Coalesce(Sum(F("quantity") - F("issued")), 0))
    )
    shelf = dict(StockRow.objects.values_list("part", "shelf"))
    numbers = dict(Part.objects.values_list("pk", "number"))
    return {
        numbers[key]: Stock(shelf.get(key, 0), coming.get(key, 0), promised.get(key, 0))
        for key in shelf.keys() | coming.keys() | promised.keys()
    }


def _as_of_past(told: Sequence[Told], past: int, span: int, today: dt.date, tell: Tell) -> Floats | None:
    """The failure model's forecasts as of past months (candidates, origins, K + 1), NaN where none was made."""
    newest = newest_learning()
    origins = origins_of(past, span)
    asked_at = list(range(len(origins) - 1, -1, -EVERY))[: PAST_YEARS * 12 // EVERY]
    if newest is None or not asked_at:
        return None
    places = fits_by_number()
    made: dict[int, dict[int, Floats]] = {}
    for done, place in enumerate(asked_at):
        day = _month_end(today, past - int(origins[place]))
        tell(done, len(asked_at), _("What would have been forecast at the end of {month}").format(month=f"{day:%Y-%m}"))
        drawn = Draws()
        systems = systems_asked(day, drawn, learned_as_of(day, newest), jobs=False)
        made[place] = {
            row: demand(asked, drawn, span).whole.chances
            for row, one in enumerate(told)
            if (asked := asked_of(one.chain, systems, places))
        }
    width = max((len(chances) for rows in made.values() for chances in rows.values()), default=1)
    found = np.full((len(told), len(origins), width), np.nan)
    for place, rows in made.items():
        for row, chances in rows.items():
            found[row, place] = 0.0
            found[row, place, : len(chances)] = chances
    return found


def _month_end(today: dt.date, ago: int) -> dt.date:
    """The last day of the month so many months before this one."""
    month = today.year * 12 + today.month - 1 - ago + 1
    return dt.date(month // 12, month % 12 + 1, 1) - dt.timedelta(days=1)


def _numbers(chain: Chain) -> tuple[str, ...]:
    return (chain.part, *chain.olds)
