"""Step times of a sheet beside the shop's own cars."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from diagnostics.selectors.timing import timed_trials
from diagnostics.views.common import sheet_or_404
from shop.http import ShopRequest


@require_GET
def times(request: ShopRequest, pk: int) -> HttpResponse:
    sheet = sheet_or_404(pk)
    template = "diagnostics/times.html#times" if request.htmx else "diagnostics/times.html"
    return render(request, template, {"sheet": sheet, "trials": timed_trials(sheet)})
