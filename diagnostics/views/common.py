"""What the views of the bench share: fetching, and one way to answer an entry with or without JavaScript."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django_htmx.http import trigger_client_event

from diagnostics.models import BenchSheet
from diagnostics.selectors.page import sheet_page
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.permissions import may


def sheet_or_404(pk: int) -> BenchSheet:
    query = BenchSheet.objects.select_related("revision", "car", "job", "opened_by")
    return get_object_or_404(query, pk=pk)


def sheet_context(request: ShopRequest, sheet: BenchSheet) -> dict[str, Any]:
    """`?entries=all`: the page shows every entry and nothing else, for a long sheet would not be light otherwise.
    `?more=BG3`: the fields of that row stand unfolded; `?again=<check>`: what was undone stands in its fields."""
    whole = request.GET.get("entries") == "all"
    page = sheet_page(sheet, viewer_pk=request.user.pk, all_entries=whole)
    can = may(request.user, "bench.write") and sheet.closed_at is None and sheet.job.is_open
    context = {"page": page, "sheet": sheet, "car": sheet.car, "job": sheet.job, "can": can, "entries_alone": whole}
    context["more"] = request.GET.get("more", "")
    if page.redo is not None and request.GET.get("again") == str(page.redo.check.pk):
        context["typed"] = page.redo.typed
    return context


def parts_answer(request: ShopRequest, sheet: BenchSheet, status: int = 200, **more: Any) -> HttpResponse:
    """Every fragment of the sheet that can have changed, to be swapped in by its id. What other fragments load for
    themselves hears `sheet-changed`."""
    context = sheet_context(request, sheet) | {"oob": True} | more
    answer = render(request, "diagnostics/sheet/parts.html", context, status=status)
    return trigger_client_event(answer, "sheet-changed")


def refused_answer(request: ShopRequest, sheet: BenchSheet, error: ShopError) -> HttpResponse:
    """One sentence, and the form as it was typed: kept in the page with JavaScript, filled in again without."""
    if request.htmx:
        return render(request, "diagnostics/sheet/refused.html", {"words": error.words}, status=error.status)
    context = sheet_context(request, sheet) | {"problem": error.words, "typed": request.POST}
    context["more"] = request.POST.get("position", "")
    return render(request, "diagnostics/sheet.html", context, status=error.status)


def done_answer(request: ShopRequest, sheet: BenchSheet, words: str = "") -> HttpResponse:
    """The changed fragments, or back to the place on the page that the form came from (`at`: an id; else the row of
    `position`)."""
    if request.htmx:
        return parts_answer(request, sheet_or_404(sheet.pk), done=True)
    if words:
        messages.success(request, words)
    position = request.POST.get("position", "")
    at = request.POST.get("at") or (f"pin-{position}" if position else "")
    place = "".join(c for c in at if c.isalnum() or c == "-")
    unfold = request.POST.get("unfold", "")
    query = f"?{urlencode({'more': unfold})}" if unfold else ""
    return redirect(sheet.get_absolute_url() + query + (f"#{place}" if place else ""))
