"""Commissions at the counter: those that wait, and what becomes of one."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST, require_safe

from reports.commission import services
from reports.commission.forms import AppointForm, TakeForm
from reports.commission.mails import follow_url
from reports.commission.models import Commission, CommissionState
from reports.commission.selectors import (
    car_of,
    commissions_answered,
    commissions_waiting,
    customer_of,
    links_open,
)
from shop.errors import ShopError
from shop.http import ShopRequest, no_path_told
from shop.models import Job
from shop.permissions import needs
from shop.words import check_digit_words, day_words


@require_safe
def commissions(request: ShopRequest) -> HttpResponse:
    context = {"waiting": commissions_waiting(), "answered": commissions_answered()}
    return render(request, "reports/commission/list.html", context)


@require_GET
def waiting(request: ShopRequest) -> HttpResponse:
    """How many wait, for the Floor: nothing where none does."""
    part = "#count" if request.htmx else ""
    count = Commission.objects.filter(state=CommissionState.ASKED).count()
    return render(request, f"reports/commission/waiting.html{part}", {"count": count})


@never_cache
@require_safe
def one(request: ShopRequest, pk: int) -> HttpResponse:
    return _page(request, _commission(pk))


@require_POST
@needs("enquiry.write")
def take(request: ShopRequest, pk: int) -> HttpResponse:
    commission, form = _commission(pk), TakeForm(request.POST)
    if not form.is_valid():
        return _page(request, commission, 422, take_form=form)
    data = form.cleaned_data
    try:
        job = services.commission_take(
            commission=commission, by=request.user, vin=data["vin"], facts=form.facts(), title=data["title"],
            appointment_on=data["appointment_on"],
        )  # fmt: skip
    except ShopError as error:
        form.add_error(None, error.words)
        return _page(request, _commission(pk), error.status, take_form=form)
    messages.success(request, _("{number} is booked; the buyer is told.").format(number=job.number))
    return redirect(job)


@require_POST
@needs("enquiry.write")
def appoint(request: ShopRequest, pk: int) -> HttpResponse:
    """Moves the appointment of one that was taken on."""
    commission, form = _commission(pk), AppointForm(request.POST)
    if not form.is_valid():
        return _page(request, commission, 422, appoint_form=form)
    data = form.cleaned_data
    try:
        moved = services.commission_appoint(
            commission=commission, by=request.user, appointment_on=data["appointment_on"], why=data["why"],
            seen=data["seen"],
        )  # fmt: skip
    except ShopError as error:
        commission = _commission(pk)
        if not commission.is_movable:
            raise
        form.add_error(None, error.words)
        return _page(request, commission, error.status, appoint_form=form.seeing(commission))
    if moved.erased_at is None:
        words = _("The appointment of {number} is on {day} now; the buyer is told.")
    else:
        words = _("The appointment of {number} is on {day} now; the buyer is erased, so nobody is told.")
    messages.success(request, words.format(number=moved.number, day=day_words(moved.appointment_on)))
    return redirect(moved)


@require_POST
@needs("enquiry.write")
def decline(request: ShopRequest, pk: int) -> HttpResponse:
    found = services.commission_decline(
        commission=_commission(pk), by=request.user, reason=request.POST.get("reason", "")
    )
    messages.success(request, _("Commission {number} is declined; the buyer is told.").format(number=found.number))
    return redirect(found)


@never_cache
@require_POST
@needs("enquiry.write")
def link(request: ShopRequest, pk: int) -> HttpResponse:
    """`act`: send (the link is on the answer this once) | revoke."""
    commission = _commission(pk)
    if request.POST.get("act") == "revoke":
        services.links_revoke(commission=commission, by=request.user)
        messages.success(request, _("No link that was sent before opens this commission any more."))
        return redirect(commission)
    if request.POST.get("act") != "send":
        raise ShopError(_("Say what to do with the link: expected send or revoke."))
    token = services.link_send(commission=commission, by=request.user)
    return no_path_told(_page(request, _commission(pk), link=follow_url(token)))


@require_POST
@needs("commission.erase")
def erase(request: ShopRequest, pk: int) -> HttpResponse:
    """With `sure` only: it cannot be undone."""
    commission = _commission(pk)
    if "sure" not in request.POST:
        raise ShopError(_("Tick that the buyer asked for it: what is erased cannot be brought back."))
    told = services.commission_erase(commission=commission, by=request.user)
    words = _("The buyer of commission {number} is erased.").format(number=commission.number)
    messages.success(request, f"{words} {told}".strip())
    return redirect(commission)


@never_cache
@require_safe
def job_commission(request: ShopRequest, pk: int) -> HttpResponse:
    """What a job's commission asks for, for the job's page; nothing there where the job comes from none."""
    job = get_object_or_404(Job.objects.select_related("car"), pk=pk)
    context = {"job": job, "commission": Commission.objects.filter(job=job).first()}
    part = "#panel" if request.htmx else ""
    return render(request, f"reports/commission/panel.html{part}", context)


def _commission(pk: int) -> Commission:
    return get_object_or_404(Commission.objects.select_related("job__car", "customer"), pk=pk)


def _page(request: ShopRequest, commission: Commission, status: int = 200, **more: Any) -> HttpResponse:
    context: dict[str, Any] = {"commission": commission, "links": links_open(commission).count()}
    if commission.state == CommissionState.ASKED:
        car = car_of(commission.vin)
        context |= {"car": car, "customer": customer_of(commission.email)}
        context["vin_words"] = check_digit_words(commission.vin) if commission.vin else ""
        context["take_form"] = TakeForm.of(commission, car)
    if commission.is_movable:
        context["appoint_form"] = AppointForm.of(commission)
    return render(request, "reports/commission/one.html", context | more, status=status)
