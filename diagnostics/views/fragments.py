"""Fragments for pages of the apps beside and below: loaded by URL name, whole pages without JavaScript."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_GET

from diagnostics.models import BenchSheet
from diagnostics.selectors import system_for_car, system_of, units_of_car
from diagnostics.selectors.lives import lives_of_car, ranges_of_car
from diagnostics.selectors.outlook import outlook_page
from diagnostics.selectors.page import proof_rows
from diagnostics.selectors.panel import job_panel as panel_of_job
from shop.http import ShopRequest
from shop.models import Car, Job


@require_GET
def job_panel(request: ShopRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("car"), pk=pk)
    template = "diagnostics/job_panel.html#panel" if request.htmx else "diagnostics/job_panel.html"
    return render(request, template, {"job": job, "panel": panel_of_job(job)})


@require_GET
def car_units(request: ShopRequest, pk: int) -> HttpResponse:
    car = get_object_or_404(Car, pk=pk)
    template = "diagnostics/car_units.html#units" if request.htmx else "diagnostics/car_units.html"
    places = units_of_car(car)
    context = {
        "car": car,
        "touched": [place for place in places if place.units],
        "untouched": [place for place in places if not place.units],
    }
    return render(request, template, context)


@require_GET
def car_proof(request: ShopRequest, pk: int) -> HttpResponse:
    """The proof as the car's last sheet left it."""
    car = get_object_or_404(Car, pk=pk)
    sheets = BenchSheet.objects.filter(car=car).select_related("revision", "car", "job")
    sheet = sheets.order_by("-opened_at", "-pk").first()
    template = "diagnostics/car_proof.html#proof" if request.htmx else "diagnostics/car_proof.html"
    return render(request, template, {"car": car, "sheet": sheet, "rows": proof_rows(sheet) if sheet else ()})


@require_GET
def car_outlook(request: ShopRequest, pk: int) -> HttpResponse:
    """What may fail next in this car."""
    car = get_object_or_404(Car, pk=pk)
    template = "diagnostics/car_outlook.html#outlook" if request.htmx else "diagnostics/car_outlook.html"
    return render(request, template, {"car": car, "page": outlook_page(car)})


@require_GET
def car_positions(request: ShopRequest, pk: int) -> HttpResponse:
    """The positions of the car's top as options of a list; none where nobody has declared it."""
    revision = system_for_car(get_object_or_404(Car, pk=pk))
    positions = system_of(revision).positions.items() if revision else ()
    named = [(code, one.name) for code, one in positions]
    return render(request, "diagnostics/car_positions.html", {"positions": named})


@require_GET
def car_lives(request: ShopRequest, pk: int) -> HttpResponse:
    """Units at each position over the car's life."""
    car = get_object_or_404(Car, pk=pk)
    template = "diagnostics/car_lives.html#lives" if request.htmx else "diagnostics/car_lives.html"
    return render(request, template, {"car": car, "lives": lives_of_car(car)})


@require_GET
def car_ranges(request: ShopRequest, pk: int) -> HttpResponse:
    """Production ranges that the car falls in."""
    car = get_object_or_404(Car, pk=pk)
    template = "diagnostics/car_ranges.html#ranges" if request.htmx else "diagnostics/car_ranges.html"
    return render(request, template, {"car": car, "ranges": ranges_of_car(car)})
