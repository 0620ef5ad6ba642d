"""Stocktakes: counted by camera, hand scanner or typing; what the ledger expects is told once a part is counted."""

from typing import Any

from django.contrib import messages
from django.db.models import Count, F, Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from parts import services
from parts.models import CountLine, Stocktake
from parts.selectors.counts import count_of
from parts.selectors.scan import part_scanned
from parts.shelf_forms import CountForm, NoteForm
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.permissions import needs

COUNTS = 30
"""Stocktakes that the list shows."""


@require_http_methods(["GET", "POST"])
@needs("shelf.write")
def counts(request: ShopRequest) -> HttpResponse:
    """Stocktakes, the newest first; POST begins one."""
    form = NoteForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        begun = services.stocktake_begin(by=request.user, note=form.cleaned_data["note"])
        return redirect("parts:count", begun.pk)
    rows = Stocktake.objects.select_related("begun_by").annotate(
        counted=Count("lines"), differing=Count("lines", filter=~Q(lines__counted=F("lines__expected")))
    )
    return render(request, "parts/counts.html", {"form": form, "rows": rows[:COUNTS]})


@require_http_methods(["GET", "POST"])
@needs("shelf.write")
def count(request: ShopRequest, pk: int) -> HttpResponse:
    """?code= finds the part; how many lie there is kept by POST, and the next one is scanned."""
    stocktake = get_object_or_404(Stocktake.objects.select_related("begun_by"), pk=pk)
    writing = request.method == "POST"
    code = (request.POST if writing else request.GET).get("code", "")
    part = part_scanned(code)
    if part is None:
        return _page(request, stocktake, 422 if writing else 200, code=code)
    form = CountForm(request.POST if writing else None, part=part)
    if not writing or not form.is_valid():
        return _page(request, stocktake, 422 if writing else 200, code=code, part=part, form=form)
    try:
        line = services.count_write(stocktake=stocktake, part=part, by=request.user, **form.cleaned_data)
    except ShopError as error:
        form.add_error(None, error.words)
        return _page(request, stocktake, error.status, code=code, part=part, form=form)
    messages.success(request, _said(line))
    return redirect("parts:count", pk)


@require_POST
@needs("shelf.write")
def count_strike(request: ShopRequest, pk: int) -> HttpResponse:
    line = get_object_or_404(CountLine.objects.select_related("stocktake__begun_by", "part"), pk=pk)
    try:
        services.count_strike(line=line, by=request.user)
    except ShopError as error:
        return _page(request, line.stocktake, error.status, problem=error.words)
    messages.success(request, _("{part} counts as not counted.").format(part=line.part.number))
    return redirect("parts:count", line.stocktake_id)


@require_POST
@needs("shelf.write")
def count_close(request: ShopRequest, pk: int) -> HttpResponse:
    stocktake = get_object_or_404(Stocktake.objects.select_related("begun_by"), pk=pk)
    try:
        services.stocktake_close(stocktake=stocktake, by=request.user)
    except ShopError as error:
        return _page(request, stocktake, error.status, problem=error.words)
    messages.success(request, _("The count is closed and its differences are booked."))
    return redirect("parts:count", pk)


def _said(line: CountLine) -> str:
    what = f"{line.part.number} {line.lot}" if line.lot else line.part.number
    if not line.difference:
        return _("{what}: {counted}, as expected.").format(what=what, counted=line.counted)
    return _("{what}: {counted} counted, {expected} expected.").format(
        what=what, counted=line.counted, expected=line.expected
    )


def _page(request: ShopRequest, stocktake: Stocktake, status: int, **context: Any) -> HttpResponse:
    return render(request, "parts/count.html", {"count": count_of(stocktake), **context}, status=status)
