"""Our own diagrams of a sheet: a fragment of the bench page, and a page of its own without JavaScript."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from diagnostics.selectors.drawings import sheet_drawings as drawings_of_sheet
from diagnostics.views.common import sheet_or_404
from shop.http import ShopRequest
from shop.permissions import may


@require_GET
def sheet_drawings(request: ShopRequest, pk: int) -> HttpResponse:
    """`?tab=connector|motion|top`."""
    sheet = sheet_or_404(pk)
    can = may(request.user, "bench.write") and sheet.closed_at is None and sheet.job.is_open
    context = {
        "sheet": sheet,
        "car": sheet.car,
        "job": sheet.job,
        "drawings": drawings_of_sheet(sheet, request.GET.get("tab", "")),
        "tabs": (("connector", _("Connector")), ("motion", _("Motion")), ("top", _("Top"))),
        # Where a pin's link leads: the field for its volts, or for a reader the row.
        "field": "volts" if can else "pin",
    }
    template = "diagnostics/drawing/sheet.html#drawings" if request.htmx else "diagnostics/drawing/sheet.html"
    return render(request, template, context)
