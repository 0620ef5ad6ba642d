"""Cars: found, taken into the books, changed, and the car file."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe
from django.views.decorators.vary import vary_on_headers

from shop import selectors, services
from shop import vin as vins
from shop.errors import ShopError
from shop.forms import CarForm, OdometerForm
from shop.http import ShopRequest
from shop.models import Car, Customer
from shop.permissions import needs
from shop.views.common import number_of
from shop.words import check_digit_words


@require_safe
@vary_on_headers("HX-Request")
def car_list(request: ShopRequest) -> HttpResponse:
    words = request.GET.get("q", "").strip()
    if request.htmx.target == "found" and not words:  # the box at the top of every page was cleared
        return HttpResponse()
    part = "#found" if request.htmx else ""
    context = {"cars": selectors.cars_found(words), "words": words, "at_most": selectors.FOUND_AT_MOST}
    return render(request, f"shop/cars.html{part}", context)


@require_safe
@vary_on_headers("HX-Request")
def car_file(request: ShopRequest, pk: int) -> HttpResponse:
    car = get_object_or_404(Car.objects.select_related("owner", "merged_into"), pk=pk)
    if car.merged_into is not None:  # written down twice: all of it hangs on the other one
        return redirect(car.merged_into)
    context = _trail_context(request, car)
    if request.htmx and request.htmx.target == "trail":
        return render(request, "shop/car.html#trail", context)
    return _car_page(request, car, context)


@require_safe
def car_risks(request: ShopRequest, pk: int) -> HttpResponse:
    car = get_object_or_404(Car, pk=pk)
    part = "#risks" if request.htmx else ""
    return render(request, f"shop/carfile/risks.html{part}", {"car": car, "risks": selectors.risks_of(car)})


@needs("car.write")
def car_new(request: ShopRequest) -> HttpResponse:
    """`?owner=` and `?system=` fill the form; `?next=` is a page of ours that needs the car: it gets `?car=`."""
    if request.method != "POST":
        owner = Customer.objects.filter(pk=number_of(request.GET.get("owner", ""))).first()
        initial = {"owner": owner, "system": request.GET.get("system", "")}
        return render(request, "shop/car_form.html", {"form": CarForm(initial=initial)})
    form = CarForm(request.POST)
    made = _try(form, lambda: services.car_create(by=request.user, **form.cleaned_data))
    if made is None:
        return render(request, "shop/car_form.html", {"form": form}, status=422)
    messages.success(request, _("{car} is in the books.").format(car=made))
    after = request.GET.get("next", "")
    if url_has_allowed_host_and_scheme(after, allowed_hosts=None) and "?" not in after:
        return redirect(f"{after}?car={made.pk}")
    return redirect(made)


@needs("car.write")
def car_edit(request: ShopRequest, pk: int) -> HttpResponse:
    car = get_object_or_404(Car.objects.select_related("owner"), pk=pk)
    names = ("vin", "plate", "maker", "model", "made_on", "climate", "system", "owner", "year_only", "known_from")
    if request.method != "POST":
        form = CarForm(initial={name: getattr(car, name) for name in names}, car=car)
        return render(request, "shop/car_form.html", {"form": form, "car": car})
    form = CarForm(request.POST, car=car)
    if _try(form, lambda: services.car_update(car=car, by=request.user, **form.cleaned_data)) is None:
        return render(request, "shop/car_form.html", {"form": form, "car": car}, status=422)
    return redirect(car)


@needs("car.write")
def odometer(request: ShopRequest, pk: int) -> HttpResponse:
    car = get_object_or_404(Car.objects.select_related("owner"), pk=pk)
    if request.method != "POST":
        return redirect(car)
    form = OdometerForm(request.POST)
    if _try(form, lambda: services.odometer_add(car=car, by=request.user, **form.cleaned_data)) is None:
        return _car_page(request, car, _trail_context(request, car) | {"odometer_form": form}, status=422)
    return redirect(car)


def _try(form: Any, write: Any) -> Any:
    """What the service made; None when the form or the service says no: the form tells why and keeps what was typed."""
    if not form.is_valid():
        return None
    try:
        return write()
    except ShopError as error:
        form.add_error(None, error.words)
        return None


def _trail_context(request: ShopRequest, car: Car) -> dict[str, Any]:
    only = request.GET.get("only", "")
    owners, jobs = selectors.owners_of(car), list(car.jobs.all())
    timeline = selectors.timeline_of(car, only, request.GET.get("page"), owners, jobs)
    filters = [(key, label) for key, (label, _kinds) in selectors.TRAIL_FILTERS.items()]
    return {
        "car": car,
        "page": timeline.page,
        "timeline": timeline.entries,
        "only": only,
        "filters": filters,
        "owners": owners,
        "jobs": jobs,
    }


def _car_page(request: ShopRequest, car: Car, context: dict[str, Any], status: int = 200) -> HttpResponse:
    page = {
        "odometer_form": OdometerForm(),
        "readings": list(selectors.odometer_of(car)),
        "film": selectors.newest_film(car),
        "check_digit_agrees": vins.check_digit_agrees(car.vin),
        "check_digit_words": check_digit_words(car.vin),
    }
    return render(request, "shop/car.html", page | context, status=status)
