"""A shelf plan as documents: what pages, paper and `plan_shelf --json` tell alike, numbers and the sentence why."""

import datetime as dt
from typing import Any

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from parts.models import ShelfPolicy
from parts.planning.demand import Needer
from parts.planning.lead_demand import MONTH
from parts.planning.part_plan import PartPlan
from parts.planning.shelf_plan import MODEL, Line, ShelfPlan
from parts.selectors.candidates import Prepared, Told
from parts.selectors.lead_times import sure_days
from shop.words import day_words

Document = dict[str, Any]


def documents_of(
    plan: ShelfPlan, ready: Prepared, policy: ShelfPolicy, as_of: dt.date, months: int
) -> tuple[Document, list[Document]]:
    """The whole and its lines, what is to be ordered first, then by how soon it runs out."""
    lines = [
        _line(line, told, plan_stock, as_of)
        for line, told, plan_stock in zip(plan.lines, ready.told, (one.stock for one in ready.candidates), strict=True)
    ]
    lines.sort(key=lambda line: (not line["quantity"], line["runs_out_on"] or "9999", line["part"]))
    whole = {
        "as_of": as_of.isoformat(),
        "months": months,
        "policy": {
            "ready_rate": policy.ready_rate,
            "holding_rate": policy.holding_rate,
            "order_cost": str(policy.order_cost),
            "budget": str(policy.budget) if policy.budget is not None else None,
            "review_days": policy.review_days,
        },
        "cost": str(plan.cost),
        "wanted": str(plan.wanted),
        "served": round(plan.served, 4),
        "compared_over_months": plan.span,
    }
    return whole, lines


def _line(line: Line, told: Told, stock: Any, as_of: dt.date) -> Document:
    part, plan = told.part, line.plan
    document: Document = {
        "key": part.pk,
        "part": part.number,
        "name": part.name,
        "supersedes": list(told.chain.olds),
        "quantity": line.quantity,
        "wanted": plan.quantity,
        "reorder_point": plan.reorder_at,
        "up_to": plan.up_to,
        "stock": {"on_hand": stock.on_hand, "on_order": stock.on_order, "promised": stock.reserved},
        "minimum": part.minimum,
        "pack": told.offer.pack if told.offer else 1,
        "price": str(told.offer.price) if told.offer and told.offer.price is not None else None,
        "cost": str(plan.cost / plan.quantity * line.quantity) if plan.quantity else "0",
        "supplier": told.offer.supplier.name if told.offer else None,
        "lead_days": {
            "median": round(told.lead.median, 1),
            "sure": sure_days(told.lead),
            "basis": told.lead.basis,
            "orders": told.lead.orders,
        },
        "served": round(plan.served, 4),
        "runs_out": round(plan.runs_out, 4),
        "cover_months": round(plan.cover_months, 2) if plan.cover_months is not None else None,
        "runs_out_on": _runs_out_on(plan, as_of),
        "held_up_days_a_year": round(plan.held_up_days_a_year, 2),
        "method": line.method,
        "compared": _compared(line),
        "months": _months(line, as_of),
        "sources": _sources(line, told),
        "cars": [_car(one) for one in told.needers],
        "scenarios": {name: _scenario(one) for name, one in line.scenarios.items()},
    }
    document["why"] = why_words(document)
    return document


def why_words(line: Document) -> str:
    """Why so many, in one sentence."""
    stock, sources = line["stock"], line["sources"]
    position = stock["on_hand"] + stock["on_order"] - stock["promised"]
    asked = _("about {pieces} a year are asked for ({sources})").format(
        pieces=_number(sources["a_year"]), sources=_source_words(line)
    )
    has = ngettext("{count} piece is free or on its way", "{count} pieces are free or on their way", position).format(
        count=position
    )
    takes = ngettext("a delivery takes {days} day", "a delivery takes {days} days", line["lead_days"]["sure"]).format(
        days=line["lead_days"]["sure"]
    )
    if line["reorder_point"] < 0 and not line["wanted"]:
        told = _("{has} and {asked}: too seldom to keep, it is ordered when a job needs it.")
        words = told.format(has=has, asked=asked)
    elif line["wanted"]:
        told = _("{has}, {asked}, and {takes}: {chance} % that it runs out before one ordered now is here.")
        words = told.format(has=has, asked=asked, takes=takes, chance=round(line["runs_out"] * 100))
    else:
        told = _("{has}, {asked}, and {takes}: enough, order at {point} or fewer.")
        words = told.format(has=has, asked=asked, takes=takes, point=max(line["reorder_point"], 0))
    if line["wanted"] > line["quantity"]:
        more = _("{wanted} would be right; the budget leaves {quantity}.")
        words += " " + more.format(wanted=line["wanted"], quantity=line["quantity"])
    return words[:1].upper() + words[1:]


def method_words(method: str) -> str:
    words = {
        MODEL: _("what fails in which car (failure model)"),
        "croston": _("Croston’s method on the ledger"),
        "sba": _("Syntetos and Boylan’s method on the ledger"),
        "tsb": _("Teunter, Syntetos and Babai’s method on the ledger"),
        "hurdle": _("how often and how many at a time, as the ledger has it"),
    }
    return words[method]


def compared_words(line: Document) -> str:
    """Why this forecast is believed."""
    compared = line["compared"]
    if compared is None:
        if line["method"] == MODEL:
            return _("No record is long enough yet to compare forecasts; what fails in which car is believed first.")
        return _("No record is long enough yet to compare forecasts.")
    told = _("Of {count} forecasts made as of {origins} past months this one was the closest to what came.")
    if compared["own"] is not None and compared["own"] != line["method"]:
        told = _("Its own {origins} months are too few to decide; over all parts this forecast was the closest.")
    return told.format(count=len(compared["losses"]), origins=compared["origins"])


def scenario_words(name: str) -> str:
    return {"lead-doubled": _("if deliveries take twice as long"), "no-ranges": _("if no production range held")}[name]


def _source_words(line: Document) -> str:
    sources = line["sources"]
    if line["method"] != MODEL:
        return _("as the ledger has it")
    return _("{known} in cars known here, {unseen} in cars not seen yet, {jobs} in open jobs").format(
        known=_number(sources["known"]), unseen=_number(sources["unseen"]), jobs=_number(sources["jobs"])
    )


def _runs_out_on(plan: PartPlan, as_of: dt.date) -> str | None:
    """The day on which the present position is used up at mean demand; None beyond ten years or without demand."""
    if plan.cover_months is None or plan.cover_months > 120:
        return None
    return (as_of + dt.timedelta(days=round(plan.cover_months * MONTH))).isoformat()


def runs_out_words(line: Document) -> str:
    on = line["runs_out_on"]
    return day_words(dt.date.fromisoformat(on)) if on else _("not within ten years")


def _compared(line: Line) -> Document | None:
    reason = line.reason
    if reason is None:
        return None
    return {
        "losses": {name: round(loss, 4) for name, loss in reason.losses.items()},
        "origins": reason.origins,
        "covered": round(reason.covered, 3) if reason.covered is not None else None,
        "own": reason.own,
        "pooled": reason.pooled,
    }


def _months(line: Line, as_of: dt.date) -> list[Document]:
    first = as_of.year * 12 + as_of.month - 1
    return [
        {
            "month": f"{(first + number) // 12:04d}-{(first + number) % 12 + 1:02d}",
            "mean": round(month.mean, 3),
            "low": month.low,
            "high": month.high,
        }
        for number, month in enumerate(line.months)
    ]


def _car(one: Needer) -> Document:
    """A unit that may need the part. `made`: the month, or the year where only that is known."""
    year, month = divmod(one.month, 12)
    return {
        "car": one.car,
        "system": one.system,
        "position": one.position,
        "made": f"{year:04d}" if one.year_only else f"{year:04d}-{month + 1:02d}",
        "fails": round(one.fails, 4),
        "comes": round(one.comes, 4),
        "quarters": [round(chance, 4) for chance in one.quarters],
    }


def _sources(line: Line, told: Told) -> Document:
    """Mean pieces a year by where they come from; by the ledger's forecast only all together."""
    months = max(len(line.months), 1)
    a_year = sum(month.mean for month in line.months) * 12 / months
    if line.method != MODEL or told.demand is None:
        jobs = sum(told.suspects)
        return {"a_year": round(a_year, 2), "known": None, "unseen": None, "jobs": round(jobs, 2)}
    rows = told.demand.months
    known, unseen = (sum(getattr(row, name) for row in rows) * 12 / months for name in ("known", "unseen"))
    jobs = sum(row.jobs for row in rows)
    return {"a_year": round(a_year, 2), "known": round(known, 2), "unseen": round(unseen, 2), "jobs": round(jobs, 2)}


def _scenario(plan: PartPlan) -> Document:
    return {
        "reorder_point": plan.reorder_at,
        "up_to": plan.up_to,
        "quantity": plan.quantity,
        "runs_out": round(plan.runs_out, 4),
    }


def _number(value: float) -> str:
    return number_format(round(value, 1), use_l10n=True)
