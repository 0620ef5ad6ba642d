"""What will be asked for of a part, and by which cars: pages of their own, and fragments of the part's."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET
from django.views.decorators.vary import vary_on_headers

from parts.models import Part
from parts.selectors import part_outlook
from shop.http import ShopRequest


@require_GET
@vary_on_headers("HX-Request")
def forecast(request: ShopRequest, pk: int) -> HttpResponse:
    part = get_object_or_404(Part, pk=pk)
    template = f"parts/forecast.html{'#forecast' if request.htmx else ''}"
    return render(request, template, {"part": part, "forecast": part_outlook.forecast(part)})


@require_GET
@vary_on_headers("HX-Request")
def cars(request: ShopRequest, pk: int) -> HttpResponse:
    part = get_object_or_404(Part, pk=pk)
    template = f"parts/cars.html{'#cars' if request.htmx else ''}"
    return render(request, template, {"part": part, "need": part_outlook.cars_that_need(part)})
