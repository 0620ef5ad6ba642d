"""The cars behind a number of the failure patterns: their list, and the addresses that numbers link to."""

import datetime as dt
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from diagnostics.charts.words import months_phrase
from diagnostics.engine.faults import mode_words
from diagnostics.learning.records import first_day, month_of
from diagnostics.models import ProductionRange
from diagnostics.selectors import ranges as read
from diagnostics.selectors.behind import Counted, cars_behind, failures_behind, units_behind, units_told
from diagnostics.selectors.learning import snapshot_of
from shop.errors import ShopError
from shop.http import ShopRequest

CARS_A_PAGE = 50
SIDES = {"": None, "inside": True, "outside": False}


@require_safe
def ranges_cars(request: ShopRequest, slug: str) -> HttpResponse:
    """The units behind a number: `p` position (may be repeated), `m` mode ('' for all) or `range` a production range
    with its part, positions and mode and `side` inside | outside | '' both; `f` and `t` production months; `failed` 1
    or 0."""
    title, names = read.position_names(slug)
    counted, row = _counted(request, slug)
    page = Paginator(units_behind(counted), CARS_A_PAGE).get_page(request.GET.get("page"))
    asked = request.GET.copy()
    asked.pop("page", None)
    context = {
        "slug": slug,
        "title": title,
        "page": page,
        "counted": counted,
        "range": row,
        "range_months": months_phrase(month_of(row.first), month_of(row.last)) if row else "",
        "names": [(code, names.get(code, "")) for code in counted.positions],
        "mode_words": mode_words(counted.mode) if counted.mode else "",
        "cars": cars_behind(counted),
        "failures": failures_behind(counted),
        "on_strip": None if counted.mode or counted.failed is not None else read.units_on_strip(counted),
        "query": asked.urlencode(),
        "units": [
            {"told": one, "failures": [(mode_words(mode), day) for mode, day in one.failures.items()]}
            for one in units_told(counted, list(page))
        ],
    }
    return render(request, "diagnostics/ranges/cars.html", context)


def _counted(request: ShopRequest, slug: str) -> tuple[Counted, ProductionRange | None]:
    """What is asked for, and the production range where one is."""
    months: dict[str, Any] = {"first": _month(request.GET.get("f", "")), "last": _month(request.GET.get("t", ""))}
    failed = {"1": True, "0": False}.get(request.GET.get("failed", ""))
    key, side, mode = (request.GET.get(name, "") for name in ("range", "side", "m"))
    if not key:
        if mode and not read.known_mode(mode):
            raise ShopError(_("No such mode of failing: {mode}.").format(mode=mode[:40]))
        positions = tuple(request.GET.getlist("p")[:30])
        return Counted(slug, positions, mode, failed=failed, **months), None
    if not (key.isdecimal() and len(key) < 10) or side not in SIDES:
        asked = f"range={key[:20]}, side={side[:20]}"
        raise ShopError(
            _("{asked} names no cars; expected the number of a range, and inside or outside.").format(asked=asked)
        )
    row = get_object_or_404(ProductionRange, pk=int(key), system=slug)
    one = snapshot_of(row)[0].population
    window = None if SIDES[side] is None else (month_of(row.first), month_of(row.last))
    counted = Counted(
        slug,
        tuple(row.positions),
        row.mode,
        part=one.part,
        revision=one.revision,
        window=window,
        inside=side != "outside",
        failed=failed,
        **months,
    )
    return counted, row


def strip_query(position: str, mode: str, first: dt.date | None = None, last: dt.date | None = None) -> str:
    """Of a number of the strip, for the address of the list."""
    asked = [("p", position), *([("m", mode)] if mode else [])]
    asked += [(key, f"{day:%Y-%m}") for key, day in (("f", first), ("t", last)) if day is not None]
    return urlencode(asked)


def range_url(row: ProductionRange, **asked: str) -> str:
    """Address of the list behind a number of a production range; `asked`: side, f, t, failed."""
    return f"{reverse('diagnostics:ranges-cars', args=[row.system])}?{urlencode({'range': str(row.pk), **asked})}"


def _month(text: str) -> dt.date | None:
    if not text:
        return None
    try:
        year, month = (int(one) for one in text.split("-"))
        return first_day(year * 12 + month - 1) if 1 <= month <= 12 else _bad_month(text)
    except ValueError:
        return _bad_month(text)


def _bad_month(text: str) -> dt.date:
    raise ShopError(
        _("{text} is no production month; expected year and month, such as 2004-03.").format(text=text[:20])
    )
