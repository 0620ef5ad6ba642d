"""What a job cost, the tables for the bookkeeping, and the rates of the shop."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shop import services
from shop.errors import ShopError
from shop.estimate_forms import OutlayForm, RatesForm
from shop.estimates import money_words, totals_of
from shop.forms import MonthField
from shop.http import ShopRequest
from shop.models import Job, Outlay, ShopProfile
from shop.permissions import needs, require
from shop.selectors import estimates as reads
from shop.tables import csv_answer


class MonthForm(forms.Form):
    month = MonthField(label=gettext_lazy("Month"))


@require_http_methods(["GET", "HEAD", "POST"])
def outlays(request: ShopRequest, pk: int) -> HttpResponse:
    """What was agreed beside what it cost; a POST books an outlay."""
    job = get_object_or_404(Job.objects.select_related("car"), pk=pk)
    shop = ShopProfile.objects.first() or ShopProfile()
    if request.method != "POST":
        usual = {"unit": _("piece"), "tax_percent": shop.tax_percent}
        return _outlays_page(request, job, shop, OutlayForm(initial=usual))
    require(request.user, "outlay.write")
    form = OutlayForm(request.POST)
    if not form.is_valid():
        return _outlays_page(request, job, shop, form, 422)
    try:
        services.outlay_add(job=job, by=request.user, **form.cleaned_data)
    except ShopError as error:
        form.add_error(None, error.words)
        return _outlays_page(request, job, shop, form, error.status)
    return redirect("shop:outlays", job.pk)


def _outlays_page(
    request: ShopRequest, job: Job, shop: ShopProfile, form: OutlayForm, status: int = 200
) -> HttpResponse:
    agreed = reads.approved_lines().filter(version__estimate__job=job)
    rows = job.outlays.select_related("by", "struck_by").order_by("-at", "-pk")
    context: dict[str, Any] = {
        "job": job,
        "form": form,
        "outlays": [(row, money_words(totals_of([row]).net, shop.currency)) for row in rows],
        "compared": reads.actual_against_approved(job),
        "currency": shop.currency,
        "others": agreed.exclude(version__currency=shop.currency).exists(),
    }
    return render(request, "shop/estimates/outlays.html", context, status=status)


@require_POST
@needs("outlay.write")
def outlay_strike(request: ShopRequest, pk: int) -> HttpResponse:
    outlay = get_object_or_404(Outlay, pk=pk)
    services.outlay_strike(outlay=outlay, by=request.user)
    messages.success(request, _("The outlay is struck: it counts no more."))
    return redirect("shop:outlays", outlay.job_id)


@require_safe
@needs("estimate.write")
def books_of_job(request: ShopRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job, pk=pk)
    return csv_answer(job.number, reads.books(job=job))


@require_safe
@needs("estimate.write")
def books(request: ShopRequest) -> HttpResponse:
    """The page that asks for a month; with `?month=YYYY-MM` its table."""
    if "month" not in request.GET:
        form = MonthForm(initial={"month": timezone.localdate().replace(day=1)})
        return render(request, "shop/estimates/books.html", {"form": form})
    form = MonthForm(request.GET)
    if not form.is_valid():
        return render(request, "shop/estimates/books.html", {"form": form}, status=422)
    month = form.cleaned_data["month"]
    return csv_answer(f"books-{month:%Y-%m}", reads.books(month=month))


@needs("rates.write")
@require_http_methods(["GET", "HEAD", "POST"])
def rates(request: ShopRequest) -> HttpResponse:
    """Opening hours and rates of the shop."""
    if request.method != "POST":
        form = RatesForm.of(ShopProfile.objects.first() or ShopProfile())
        return render(request, "shop/estimates/rates.html", {"form": form})
    form = RatesForm(request.POST)
    if not form.is_valid():
        return render(request, "shop/estimates/rates.html", {"form": form}, status=422)
    try:
        services.rates_set(by=request.user, **form.cleaned_data)
    except ShopError as error:
        form.add_error(None, error.words)
        return render(request, "shop/estimates/rates.html", {"form": form}, status=error.status)
    messages.success(request, _("Rates and hours are kept. Estimates that exist keep theirs."))
    return redirect("shop:rates")
