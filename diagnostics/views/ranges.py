"""Failure patterns by production date: all systems, one system, one production range."""

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from diagnostics.charts.strip import GRAINS, Strip, StripColumn, StripMark, StripRow
from diagnostics.charts.strip_layout import StripView, strip_view
from diagnostics.charts.words import (
    caution_sentences,
    chance_sentence,
    climate_sentence,
    ends_sentence,
    log_rank_sentence,
    percent_words,
    range_sentence,
    share_interval_words,
)
from diagnostics.engine.faults import mode_words
from diagnostics.learning.records import first_day
from diagnostics.models import ProductionRange
from diagnostics.selectors import ranges as read
from diagnostics.selectors.learning import learning_state
from diagnostics.selectors.range_charts import curves_view
from diagnostics.selectors.range_files import FILES
from diagnostics.selectors.range_tests import log_ranks_of
from diagnostics.selectors.what_if import what_if
from diagnostics.services.learning import learning_ask
from diagnostics.services.ranges import range_confirm, range_dismiss, range_reopen
from diagnostics.views.behind import range_url, strip_query
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.tables import csv_answer

DECIDE: Mapping[str, Callable[..., ProductionRange]] = {
    "confirm": range_confirm,
    "dismiss": range_dismiss,
    "reopen": range_reopen,
}


@require_http_methods(["GET", "HEAD", "POST"])
def ranges(request: ShopRequest) -> HttpResponse:
    """All systems; a POST asks for learning and shows its run."""
    if request.method == "POST":
        return redirect(learning_ask(by=request.user))
    found = read.ranges_shown()
    shown = [_told(one) for one in found]
    context = {
        "state": learning_state(),
        "systems": read.summaries(found),
        "proposed": [one for one in shown if one["row"].state == "proposed"],
        "confirmed": [one for one in shown if one["row"].state == "confirmed"],
        "caution": caution_sentences(),
    }
    return render(request, "diagnostics/ranges/ranges.html", context)


@require_safe
def ranges_system(request: ShopRequest, slug: str) -> HttpResponse:
    """`?mode=`: the strip of one mode; `?by=`: months a column; `?position=`: also what was learned of it."""
    by = request.GET.get("by", "")
    grain = int(by) if by in map(str, GRAINS) else None
    found = read.system_patterns(slug, mode=request.GET.get("mode", ""), grain=grain)
    if found is None:
        return _unknown(request, slug)
    position = request.GET.get("position", "")
    position = position if any(row.position == position for row in found.strip.rows) else ""
    context: dict[str, Any] = {
        "found": found,
        "view": _picture(slug, found.strip, found.mode) if found.strip.rows else None,
        "ranges": [_told(one) for one in found.ranges],
        "caution": caution_sentences(),
        "rows": _strip_rows(found),
        "position": position,
        "grains": [(one, _grain_words(one)) for one in GRAINS],
        "asked": {"mode": found.mode, "by": by, "position": position},
    }
    if position:
        models = read.models_at(found.models, position, found.mode)
        context["name"] = found.names.get(position, position)
        context["models"] = [_model(one) for one in models]
        first = models[0] if models else None
        if first is not None:
            context["shown"] = _model(first)
            title = f"{context['name']}: {mode_words(first.population.mode)}"
            context["curves"] = curves_view(first.curves, prefix="curves", title=title)
            context["climates"] = [climate_sentence(one) for one in first.climates]
    return render(request, "diagnostics/ranges/system.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def range_one(request: ShopRequest, pk: int) -> HttpResponse:
    """One production range; a POST decides of it (`act`: confirm | dismiss | reopen, with a note)."""
    rows = ProductionRange.objects.select_related("learning", "learning__by", "decided_by")
    row = get_object_or_404(rows, pk=pk)
    error, status = "", 200
    if request.method == "POST":
        try:
            seen = request.POST.get("seen", "")
            DECIDE.get(request.POST.get("act", ""), range_confirm)(
                range=row,
                by=request.user,
                note=request.POST.get("note", ""),
                seen_version=int(seen) if seen.isdecimal() and len(seen) < 9 else 0,
            )
            return redirect(row)
        except ShopError as refused:
            if refused.status == 403:
                raise
            error, status = refused.words, refused.status
            row.refresh_from_db()
    title, names = read.position_names(row.system)
    found = read.found_here(row, names)
    chart_title = _("{part}: {mode}, inside and outside the range").format(part=found.title, mode=mode_words(row.mode))
    context = {
        "row": row,
        "title": title,
        "error": error,
        "note": request.POST.get("note", ""),
        "one": _told(found),
        "found": found.range,
        "model": _model(found.model),
        "ends": ends_sentence(found.range),
        "chance": chance_sentence(found.range),
        "tests": [log_rank_sentence(*one) for one in log_ranks_of([found]).values()],
        "by_climate": read.by_climate(found.range),
        "interaction": percent_words(found.range.interaction),
        "climates": [climate_sentence(one) for one in found.model.climates],
        "caution": caution_sentences(),
        "curves": curves_view(found.model.curves, prefix="curves", title=chart_title),
        "years": _years(found),
        "history": read.history_of_range(row),
        "inside_url": range_url(row, side="inside"),
        "inside_failed_url": range_url(row, side="inside", failed="1"),
        "outside_url": range_url(row, side="outside"),
        "outside_failed_url": range_url(row, side="outside", failed="1"),
    }
    return render(request, "diagnostics/ranges/range.html", context, status=status)


@require_safe
def range_what_if(request: ShopRequest, pk: int) -> HttpResponse:
    """What more checks would teach of a range."""
    row = get_object_or_404(ProductionRange.objects.select_related("learning"), pk=pk)
    template = "diagnostics/ranges/what_if.html#answer" if request.htmx else "diagnostics/ranges/what_if.html"
    return render(request, template, {"row": row, "found": what_if(row)})


@require_safe
def ranges_file(request: ShopRequest, slug: str) -> HttpResponse:
    """`?of=`: months (the strip, the default), ranges, years (of each range) or models as CSV."""
    of = request.GET.get("of", "months")
    if of not in FILES:
        raise ShopError(_("No such table: {of}; there are {known}.").format(of=of[:20], known=", ".join(FILES)))
    found = read.system_patterns(slug, grain=1)
    if found is None:
        return _unknown(request, slug)
    return csv_answer(f"{slug}-{of}", FILES[of](found))


def _unknown(request: ShopRequest, slug: str) -> HttpResponse:
    words = _("Nothing is known here of a top system {slug}.").format(slug=slug)
    return render(request, "shop/error.html", {"status": 404, "words": words}, status=404)


def _told(one: read.FoundHere) -> dict[str, Any]:
    return {
        "row": one.row,
        "words": range_sentence(one.name, one.row.mode, one.range),
        "chance": chance_sentence(one.range),
        "name": one.title,
        "mode": mode_words(one.row.mode),
    }


def _model(model: Any) -> dict[str, Any]:
    return {
        "model": model,
        "mode": mode_words(model.population.mode),
        "scale": f"{model.fit.scale_years:.1f}",
        "shape": f"{model.fit.shape:.2f}",
        "range": percent_words(model.range_probability),
    }


def _picture(slug: str, strip: Strip, mode: str) -> StripView:
    title = _("Production months by position: {mode}").format(mode=mode_words(mode) if mode else _("all modes"))

    def cell_url(row: StripRow, column: StripColumn) -> str:
        return "cars/?" + strip_query(row.position, mode, first_day(column.first), first_day(column.last))

    def mark_url(mark: StripMark) -> str:
        return reverse("diagnostics:range", args=[mark.key])

    return strip_view(strip, title=title, cell_url=cell_url, mark_url=mark_url)


def _strip_rows(found: read.SystemPatterns) -> list[dict[str, Any]]:
    """The table beside the strip: by position, and by year below it."""
    rows = []
    for row in found.strip.rows:
        years = read.by_year(row, found.strip.columns)
        rows.append(
            {
                "row": row,
                "expected": f"{row.expected:.1f}",
                "url": "cars/?" + strip_query(row.position, found.mode),
                "years": [
                    (
                        year,
                        units,
                        failed,
                        f"{expected:.1f}",
                        "cars/?" + strip_query(row.position, found.mode, dt.date(year, 1, 1), dt.date(year, 12, 1)),
                    )
                    for year, units, failed, expected in years
                ],
            }
        )
    return rows


def _years(found: read.FoundHere) -> list[tuple[Any, ...]]:
    row = found.row
    return [
        (
            year,
            units,
            failed,
            f"{expected:.1f}",
            share_interval_words(failed, units),
            inside,
            range_url(row, f=f"{year}-01", t=f"{year}-12"),
        )
        for year, units, failed, expected, inside in read.month_rows(found)
    ]


def _grain_words(grain: int) -> str:
    return {1: _("month"), 3: _("quarter"), 6: _("half-year"), 12: _("year")}[grain]
