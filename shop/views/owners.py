"""A car goes over to its next owner: what goes along is said before."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _

from shop import selectors, services
from shop.errors import ShopError
from shop.forms import HandOverForm
from shop.http import ShopRequest
from shop.models import Car, Stage
from shop.permissions import needs


@needs("car.write")
def car_owner(request: ShopRequest, pk: int) -> HttpResponse:
    car = get_object_or_404(Car.objects.select_related("owner", "merged_into"), pk=pk)
    if car.merged_into is not None:
        return redirect(car.merged_into)
    form = HandOverForm(request.POST if request.method == "POST" else None)
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                data = form.cleaned_data
                services.owner_change(car=car, by=request.user, to=data["owner"], on=data["on"])
            except ShopError as error:
                form.add_error(None, error.words)
                status = error.status
            else:
                messages.success(request, _("{car} is with its next owner.").format(car=car))
                return redirect(car)
    jobs = car.jobs.exclude(stage=Stage.GONE)
    context = {"car": car, "form": form, "owners": selectors.owners_of(car), "open_jobs": jobs}
    return render(request, "shop/carfile/owner.html", context, status=status)
