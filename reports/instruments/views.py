"""The book of instruments, one of them with its calibrations, and the panel on a job's page."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django.views.decorators.vary import vary_on_headers

from reports.instruments import selectors, services
from reports.instruments.forms import CalibrationForm, InstrumentForm, ReasonForm
from reports.instruments.models import Calibration, Instrument, InstrumentKind, InstrumentUse
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.models import Job
from shop.permissions import needs, require
from shop.views.common import number_of


@require_http_methods(["GET", "HEAD", "POST"])
def instruments(request: ShopRequest) -> HttpResponse:
    """The book; POST adds one to it."""
    if request.method != "POST":
        return _book(request, InstrumentForm())
    require(request.user, "instrument.write")
    form = InstrumentForm(request.POST)
    if not form.is_valid():
        return _book(request, form, 422)
    try:
        made = services.instrument_add(facts=form.facts(), by=request.user)
    except ShopError as error:
        form.add_error(None, error.words)
        return _book(request, form, error.status)
    messages.success(request, _("{instrument} is in the book.").format(instrument=made))
    return redirect(made)


def _book(request: ShopRequest, form: InstrumentForm, status: int = 200) -> HttpResponse:
    used, retired = selectors.book()
    context = {"used": used, "retired": retired, "form": form}
    return render(request, "reports/instruments/book.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def instrument(request: ShopRequest, pk: int) -> HttpResponse:
    """One of them; POST puts right what was written of it."""
    if request.method != "POST":
        return _page(request, pk)
    require(request.user, "instrument.write")
    row = get_object_or_404(Instrument, pk=pk)
    form = InstrumentForm({**request.POST.dict(), "kind": row.kind})
    if not form.is_valid():
        return _page(request, pk, 422, form=form)
    try:
        services.instrument_change(instrument=row, facts=form.facts(), by=request.user)
    except ShopError as error:
        form.add_error(None, error.words)
        return _page(request, pk, error.status, form=form)
    messages.success(request, _("Kept. What was issued before stays as it was."))
    return redirect(row)


def _page(request: ShopRequest, pk: int, status: int = 200, **more: Any) -> HttpResponse:
    row = selectors.one(pk)
    if row is None:
        raise Http404
    context = {
        "row": selectors.standing(row, selectors.today()),
        "form": InstrumentForm.of(row),
        "calibration_form": CalibrationForm(multimeter=row.kind == InstrumentKind.MULTIMETER),
        "uses": selectors.uses_of(row),
    }
    return render(request, "reports/instruments/one.html", context | more, status=status)


@require_POST
@needs("instrument.write")
def calibrate(request: ShopRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Instrument, pk=pk)
    form = CalibrationForm(request.POST, multimeter=row.kind == InstrumentKind.MULTIMETER)
    if not form.is_valid():
        return _page(request, pk, 422, calibration_form=form)
    try:
        services.calibration_add(instrument=row, calibrated=form.calibrated(), by=request.user)
    except ShopError as error:
        form.add_error(None, error.words)
        return _page(request, pk, error.status, calibration_form=form)
    messages.success(request, _("The calibration is written down."))
    return redirect(row)


@require_POST
@needs("instrument.write")
def strike(request: ShopRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Calibration.objects.select_related("instrument"), pk=pk)
    services.calibration_strike(calibration=row, reason=_reason(request), by=request.user)
    messages.success(request, _("The calibration is struck out and counts no more."))
    return redirect(row.instrument)


@require_POST
@needs("instrument.write")
def retire(request: ShopRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Instrument, pk=pk)
    services.instrument_retire(instrument=row, reason=_reason(request), by=request.user)
    messages.success(request, _("{instrument} is retired.").format(instrument=row))
    return redirect(row)


@require_POST
@needs("instrument.write")
def give_back(request: ShopRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Instrument, pk=pk)
    services.instrument_return(instrument=row, by=request.user)
    messages.success(request, _("{instrument} is in use again.").format(instrument=row))
    return redirect(row)


def _reason(request: ShopRequest) -> str:
    """One line; the service says what is missing. ShopError where it is too long."""
    form = ReasonForm(request.POST)
    if form.is_valid():
        return str(form.cleaned_data["reason"])
    if not request.POST.get("reason", "").strip():
        return ""
    raise ShopError(" ".join(map(str, form.errors["reason"])))


@require_GET
@vary_on_headers("HX-Request")
def job_instruments(request: ShopRequest, pk: int) -> HttpResponse:
    return _panel(request, get_object_or_404(Job.objects.select_related("car"), pk=pk))


@require_POST
@needs("bench.write")
def choose(request: ShopRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job, pk=pk)
    row = Instrument.objects.filter(pk=number_of(request.POST.get("instrument", ""))).first()
    if row is None:
        raise ShopError(_("Choose an instrument of the shop’s book."))
    services.instrument_choose(job=job, instrument=row, by=request.user)
    return _panel(request, job) if request.htmx else redirect(job)


@require_POST
@needs("bench.write")
def unchoose(request: ShopRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job, pk=pk)
    use = InstrumentUse.objects.filter(job=job, pk=number_of(request.POST.get("use", ""))).first()
    if use is None:
        raise ShopError(_("Say which instrument of this job was not used."))
    services.instrument_unchoose(job=job, use=use, by=request.user)
    return _panel(request, job) if request.htmx else redirect(job)


def _panel(request: ShopRequest, job: Job) -> HttpResponse:
    part = "#panel" if request.htmx else ""
    context = {"job": job, "kinds": selectors.offered(job, request.user)}
    return render(request, f"reports/instruments/panel.html{part}", context)
