"""Pages of the catalogue."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST
from django.views.decorators.vary import vary_on_headers

from parts import selectors, services
from parts.forms import FitForm, PartForm
from parts.selectors.scan import part_scanned
from parts.selectors.standing import standings
from shop.errors import ShopError
from shop.permissions import needs


@require_GET
@vary_on_headers("HX-Request")
def shelf(request: HttpRequest) -> HttpResponse:
    """The catalogue and what is on the shelf; as one types (htmx) only its rows. A code that names a part exactly, with
    Enter as hand scanners send it, goes to the part."""
    htmx = request.htmx  # type: ignore[attr-defined]
    part = "#rows" if htmx and not htmx.history_restore_request else ""
    named = part_scanned(request.GET.get("q", "")) if not htmx else None
    if named is not None:
        return redirect("parts:part", named.number)
    return render(request, f"parts/shelf.html{part}", _context(request))


@require_GET
def options(request: HttpRequest) -> HttpResponse:
    """The parts for ?system=&position= as `<option>`s, for the form in which work on a position is booked."""
    system, position = request.GET.get("system", ""), request.GET.get("position", "")
    parts = selectors.parts_for(system=system, position=position)
    return render(request, "parts/options.html", {"parts": parts})


@require_POST
@needs("part.write")
def part_add(request: HttpRequest) -> HttpResponse:
    form = PartForm(request.POST)
    if form.is_valid():
        try:
            part = services.part_add(by=request.user, **form.cleaned_data)  # type: ignore[arg-type]
        except ShopError as error:
            return _refused(request, form, error, {"part_form": form})
        messages.success(request, _("{part} is in the catalogue.").format(part=part))
        return redirect("parts:shelf")
    return render(request, "parts/shelf.html", {**_context(request), "part_form": form}, status=422)


@require_POST
@needs("part.write")
def fit_add(request: HttpRequest) -> HttpResponse:
    form = FitForm(request.POST, systems=selectors.systems_declared())
    if form.is_valid():
        try:
            fit = services.fit_add(by=request.user, **form.cleaned_data)  # type: ignore[arg-type]
        except ShopError as error:
            return _refused(request, form, error, {"fit_form": form})
        messages.success(
            request,
            _("{number} fits {position}: noted.").format(number=fit.part.number, position=fit.position),
        )
        return redirect("parts:shelf")
    return render(request, "parts/shelf.html", {**_context(request), "fit_form": form}, status=422)


def _context(request: HttpRequest) -> dict[str, Any]:
    query = request.GET.get("q", "")
    shelf = selectors.shelf(query=query)
    standing = standings([row.part for row in shelf.rows])
    rows = [(row, standing[row.part.pk]) for row in shelf.rows]
    return {"query": query, "shelf": shelf, "rows": rows, "part_form": PartForm(),
            "fit_form": FitForm(systems=shelf.systems)}  # fmt: skip


def _refused(request: HttpRequest, form: forms.Form, error: ShopError, forms_back: dict[str, Any]) -> HttpResponse:
    """The page again with what was typed and the one sentence of why not."""
    form.add_error(None, error.words)
    return render(request, "parts/shelf.html", {**_context(request), **forms_back}, status=error.status)
