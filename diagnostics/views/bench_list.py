"""The bench list of a sheet: what still has to be seen, in the order of work."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET
from django.views.decorators.vary import vary_on_headers

from diagnostics.selectors.bench_list import bench_list_of_sheet
from diagnostics.views.common import sheet_or_404
from shop.http import ShopRequest


@require_GET
@vary_on_headers("HX-Request")
def bench_list(request: ShopRequest, pk: int) -> HttpResponse:
    sheet = sheet_or_404(pk)
    part = "#list" if request.htmx else ""
    context = {"sheet": sheet, "car": sheet.car, "job": sheet.job, "work": bench_list_of_sheet(sheet)}
    return render(request, f"diagnostics/bench_list.html{part}", context)
