"""The bench sheet: opening it, seeing it, what the car stands like, the complaint, closing."""

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django.views.decorators.vary import vary_on_headers

from diagnostics import services
from diagnostics.forms import ComplaintForm, StateForm, first_words
from diagnostics.models import BenchSheet
from diagnostics.selectors import sheet_of_job, system_of
from diagnostics.selectors.compare import comparison_of
from diagnostics.selectors.page import sheet_version
from diagnostics.views.common import done_answer, parts_answer, refused_answer, sheet_context, sheet_or_404
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.models import Job


@require_http_methods(["GET", "POST"])
def bench(request: ShopRequest, pk: int) -> HttpResponse:
    """GET goes to the car's open sheet, else offers to open one. POST opens one, or goes to the one that is open."""
    job = get_object_or_404(Job.objects.select_related("car"), pk=pk)
    there = BenchSheet.objects.filter(car=job.car, closed_at__isnull=True).select_related("job").first()
    if (
        there is not None
        and (there.job.is_open or not job.is_open)
        and (there.job_id == job.pk or request.method == "GET")
    ):
        if there.job_id != job.pk:
            messages.info(request, _("The open sheet of this car is on job {number}.").format(number=there.job.number))
        return redirect(there)
    if request.method == "POST":
        try:
            return redirect(services.sheet_open(job=job, by=request.user))
        except ShopError as error:
            opened = error.sheet if isinstance(error, services.SheetAlreadyOpen) else None
            context = {"job": job, "car": job.car, "problem": error.words, "there": opened, "last": sheet_of_job(job)}
            return render(request, "diagnostics/bench.html", context, status=error.status)
    return render(request, "diagnostics/bench.html", {"job": job, "car": job.car, "last": sheet_of_job(job)})


@require_GET
def sheet(request: ShopRequest, pk: int) -> HttpResponse:
    return render(request, "diagnostics/sheet.html", sheet_context(request, sheet_or_404(pk)))


@require_GET
def live(request: ShopRequest, pk: int) -> HttpResponse:
    """What others entered since version `v`: 204 when nothing did."""
    found = sheet_or_404(pk)
    if sheet_version(found) == request.GET.get("v"):
        return HttpResponse(status=204)
    return parts_answer(request, found)


@require_GET
def next_checks(request: ShopRequest, pk: int) -> HttpResponse:
    return render(request, "diagnostics/sheet/next.html", sheet_context(request, sheet_or_404(pk)))


@require_GET
def fields(request: ShopRequest, pk: int) -> HttpResponse:
    """The fields of every row that are folded away on the page: fetched once after it, so that the page is light and
    they are there when the network is not."""
    return render(request, "diagnostics/sheet/fields.html", sheet_context(request, sheet_or_404(pk)) | {"oob": True})


@require_GET
@vary_on_headers("HX-Request")
def compare(request: ShopRequest, pk: int) -> HttpResponse:
    """The sheet beside an earlier one of its car, `?with=<sheet>`; the newest where none is named."""
    found = sheet_or_404(pk)
    named = request.GET.get("with", "")
    if named and not named.isdecimal():
        raise Http404
    compared = comparison_of(found, int(named[:18]) if named else None)
    if compared is None:
        raise Http404
    part = "#compare" if request.htmx else ""
    context = {"sheet": found, "car": found.car, "job": found.job, "compared": compared}
    return render(request, f"diagnostics/compare.html{part}", context)


@require_POST
def pose(request: ShopRequest, pk: int) -> HttpResponse:
    found = sheet_or_404(pk)
    form = StateForm(request.POST)
    try:
        if not form.is_valid():
            raise ShopError(first_words(form))
        services.sheet_set_pose(
            sheet=found,
            by=request.user,
            pose=form.places(system_of(found.revision) if found.revision else None),
            supply_volts=form.cleaned_data["supply_volts"],
            ignition_on=form.cleaned_data["ignition"],
        )
    except ShopError as error:
        return refused_answer(request, found, error)
    return done_answer(request, found)


@require_POST
def complaint(request: ShopRequest, pk: int) -> HttpResponse:
    found = sheet_or_404(pk)
    try:
        if found.revision is None:
            raise ShopError(_("This car’s top system is not declared yet; write the complaint on the job."))
        form = ComplaintForm(request.POST, system=system_of(found.revision))
        if not form.is_valid():
            raise ShopError(first_words(form))
        services.sheet_set_complaint(
            sheet=found,
            by=request.user,
            complaint=form.complaint(),
            recent_work=tuple(form.cleaned_data["recent_work"]),
        )
    except ShopError as error:
        return refused_answer(request, found, error)
    return done_answer(request, found)


@require_POST
def close(request: ShopRequest, pk: int) -> HttpResponse:
    found = sheet_or_404(pk)
    try:
        services.sheet_close(sheet=found, by=request.user)
    except ShopError as error:
        return refused_answer(request, found, error)
    messages.success(request, _("The bench sheet is closed; it stays readable on the job."))
    return redirect(found.job)
