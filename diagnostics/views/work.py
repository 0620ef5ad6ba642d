"""Work booked on a job: the form stands in the job's bench panel."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from diagnostics import services
from diagnostics.forms import WorkForm, first_words
from diagnostics.selectors.panel import job_panel
from diagnostics.selectors.systems import system_for_job, system_of
from diagnostics.selectors.what_was_wrong import proposed_mode, wrong_at
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.models import Job


@require_POST
def work_add(request: ShopRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("car"), pk=pk)
    form = WorkForm(request.POST)
    try:
        if not form.is_valid():
            raise ShopError(first_words(form))
        work = services.work_add(job=job, by=request.user, **form.cleaned_data)
    except ShopError as error:
        context = {"job": job, "panel": job_panel(job), "problem": error.words, "typed": request.POST}
        template = "diagnostics/job_panel.html#panel" if request.htmx else "diagnostics/job_panel.html"
        return render(request, template, context, status=error.status)
    words = _("{position}: {kind}. Its proof is void until it is checked again.").format(
        position=work.position, kind=work.get_kind_display()
    )
    if request.htmx:
        context = {"job": job, "panel": job_panel(job), "done": words}
        return render(request, "diagnostics/job_panel.html#panel", context)
    messages.success(request, words)
    return redirect(job)


@require_safe
def work_wrong(request: ShopRequest, pk: int) -> HttpResponse:
    """What can have been wrong at `?position=` where work of `?kind=` was done: the options of the form's field."""
    job = get_object_or_404(Job.objects.select_related("car"), pk=pk)
    declared = system_for_job(job)
    position, kind = request.GET.get("position", ""), request.GET.get("kind", "")
    if declared is None or position not in system_of(declared).positions:
        return render(request, "diagnostics/work_wrong.html", {"wrong": None})
    system = system_of(declared)
    wrong = wrong_at(system, position, kind, proposed_mode(job, system, position, kind))
    return render(request, "diagnostics/work_wrong.html", {"wrong": wrong})
