"""Labels for the shelf: chosen on a page, given as a PDF."""

from collections.abc import Mapping

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from parts import selectors
from parts.labels import MOST, ON_A_SHEET, Label, sheets
from parts.models import Part
from parts.selectors.catalogue import ShelfRow
from shop.errors import ShopError
from shop.views.common import number_of


@require_GET
def labels(request: HttpRequest) -> HttpResponse:
    """Parts with how many labels of each; `part` is chosen already. With `print` it is the file."""
    query = request.GET.get("q", "")
    shelf = selectors.shelf(query=query or request.GET.get("part", ""))
    context = {"shelf": shelf, "query": query, "places": range(1, ON_A_SHEET + 1)}
    if "print" not in request.GET:
        rows = [(row, 1 if row.part.number == request.GET.get("part") else 0) for row in shelf.rows]
        return render(request, "parts/labels.html", {**context, "rows": rows, "start": 1})
    copies, start = _copies(request.GET), number_of(request.GET.get("start", ""))
    try:
        pdf = _file(copies, start)
    except ShopError as error:
        rows = [(row, copies.get(row.part.pk, 0)) for row in shelf.rows]
        context |= {"rows": rows, "start": start, "problem": error.words}
        return render(request, "parts/labels.html", context, status=error.status)
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = 'inline; filename="labels.pdf"'
    return response


def _file(copies: Mapping[int, int], start: int) -> bytes:
    wanted = sum(copies.values())
    if not wanted:
        raise ShopError(_("Say of which part you want labels, and how many."))
    if wanted > MOST:
        raise ShopError(_("{wanted} labels: expected at most {most} in one file.").format(wanted=wanted, most=MOST))
    if not 1 <= start <= ON_A_SHEET:
        raise ShopError(_("The first label: expected a place from 1 to {most}.").format(most=ON_A_SHEET))
    rows = selectors.shelf_of(Part.objects.filter(pk__in=copies))
    return sheets([_label(row) for row in rows for _copy in range(copies[row.part.pk])], title=_("Labels"), start=start)


def _label(row: ShelfRow) -> Label:
    part = row.part
    fits = ", ".join(f"{' '.join(code for code, _name in one.positions)} {one.system}" for one in row.fittings)
    return Label(part.number, part.name, part.place, fits)


def _copies(sent: QueryDict) -> dict[int, int]:
    """Part key -> how many labels of it, for `copies-<key>` in an address."""
    found = {number_of(name.removeprefix("copies-")): number_of(str(sent[name])) for name in sent if "copies-" in name}
    return {key: min(count, MOST + 1) for key, count in found.items() if key and count}
