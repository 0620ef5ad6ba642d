"""The Floor, and jobs with their stage, hold, notes and pictures."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from shop import selectors, services
from shop.errors import NotDone, ShopError
from shop.forms import HoldForm, JobForm, NoteForm, PictureForm, StageForm
from shop.http import ShopRequest
from shop.models import Car, Job, Stage
from shop.permissions import needs
from shop.words import quick_notes

TRAIL_AT_MOST = 60


@require_safe
def floor(request: ShopRequest) -> HttpResponse:
    tour = request.user.tour_dismissed_at is None or "tour" in request.GET
    return render(request, "shop/floor.html", {"floor": selectors.floor(), "tour": tour})


@needs("job.write")
def job_new(request: ShopRequest, pk: int) -> HttpResponse:
    car = get_object_or_404(Car.objects.select_related("owner"), pk=pk)
    form = JobForm(request.POST or None)
    if request.method != "POST":
        return render(request, "shop/job_form.html", {"form": form, "car": car})
    if not form.is_valid():
        return render(request, "shop/job_form.html", {"form": form, "car": car}, status=422)
    data = form.cleaned_data
    stage = Stage.HERE if data.pop("here") else Stage.BOOKED
    made = services.job_open(car=car, by=request.user, stage=stage, **data)
    return redirect(made)


@require_safe
def job(request: ShopRequest, pk: int) -> HttpResponse:
    return job_page(request, job_asked(pk))


@require_POST
@needs("job.write")
def stage(request: ShopRequest, pk: int) -> HttpResponse:
    job = job_asked(pk)
    form = StageForm(request.POST)
    if not form.is_valid():
        return job_page(request, job, 422, stage_form=form)
    try:
        services.job_move(job=job, by=request.user, **form.cleaned_data)
    except NotDone as error:
        return job_page(request, job, error.status, stage_form=form, not_done=error)
    except ShopError as error:
        return _refuse(request, job, form, error, "stage_form")
    return redirect(job)


@require_POST
@needs("job.write")
def hold(request: ShopRequest, pk: int) -> HttpResponse:
    job = job_asked(pk)
    form = HoldForm(request.POST)
    if not form.is_valid():
        return job_page(request, job, 422, hold_form=form)
    try:
        services.job_hold(job=job, by=request.user, **form.cleaned_data)
    except ShopError as error:
        return _refuse(request, job, form, error, "hold_form")
    return redirect(job)


@require_POST
@needs("job.note")
def note(request: ShopRequest, pk: int) -> HttpResponse:
    job = job_asked(pk)
    form = NoteForm(request.POST)
    if not form.is_valid():
        return job_page(request, job, 422, note_form=form)
    services.note_add(job=job, by=request.user, words=form.cleaned_data["words"])
    return redirect(f"{job.get_absolute_url()}#notes")


def job_asked(pk: int) -> Job:
    return get_object_or_404(Job.objects.select_related("car", "car__owner", "opened_by"), pk=pk)


def _refuse(request: ShopRequest, job: Job, form: Any, error: ShopError, name: str) -> HttpResponse:
    form.add_error(None, error.words)
    return job_page(request, job, error.status, **{name: form})


def job_page(request: ShopRequest, job: Job, status: int = 200, **forms: Any) -> HttpResponse:
    context = {
        "job": job,
        "stage_form": StageForm(initial={"stage": job.stage}),
        "hold_form": HoldForm(initial={"hold": job.hold, "note": job.hold_note}),
        "note_form": NoteForm(),
        "picture_form": PictureForm(job=job),
        "notes": job.notes.select_related("by"),
        "film": selectors.film_of(selectors.pictures_of_car(job.car).filter(job=job)),
        "phrases": quick_notes(),
        "trail": job.trail.select_related("by")[:TRAIL_AT_MOST],
    }
    return render(request, "shop/job.html", context | forms, status=status)
