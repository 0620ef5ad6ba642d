"""Putting a car together that was written down twice: find the double, see what would move, do it."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from shop import selectors, services
from shop.errors import ShopError
from shop.forms import WhyForm
from shop.http import ShopRequest
from shop.models import Car
from shop.permissions import needs
from shop.views.common import number_of


@needs("car.merge")
def car_merge(request: ShopRequest, pk: int) -> HttpResponse:
    """`?q=` finds the double, `?double=` shows what putting it together with this car would do; a POST does it."""
    car = get_object_or_404(Car.objects.select_related("owner", "merged_into"), pk=pk)
    if car.merged_into is not None:
        return redirect(car.merged_into)
    asked = request.POST if request.method == "POST" else request.GET
    double = Car.objects.select_related("owner").filter(pk=number_of(asked.get("double", ""))).first()
    if double is None:
        words = request.GET.get("q", "").strip()
        cars = [one for one in selectors.cars_found(words) if one.pk != car.pk] if words else []
        return render(request, "shop/carfile/merge_find.html", {"car": car, "words": words, "cars": cars})
    form = WhyForm(request.POST if request.method == "POST" else None)
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                services.car_merge(
                    kept=car, double=double, by=request.user, why=form.cleaned_data["why"], chosen=asked.dict()
                )
            except ShopError as error:
                form.add_error(None, error.words)
                status = error.status
            else:
                messages.success(request, _("Both are one car now; everything hangs on this one."))
                return redirect(car)
    found = selectors.merge_preview(car, double, asked.dict())
    context = {"car": car, "double": double, "found": found, "form": form}
    return render(request, "shop/carfile/merge.html", context, status=status)
