"""The work plan of a job and its clocks."""

import datetime as dt
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRedirect

from shop.errors import Conflict, ShopError
from shop.http import ShopRequest
from shop.models import Clock, Job, Stage, Task, TaskOrder, TaskPart, TaskState
from shop.permissions import may, needs
from shop.plan_forms import BeforeForm, BlockForm, ClockForm, OutsideForm, PartForm, TaskForm, TemplateForm
from shop.planning.templates import PlanTemplate, templates_of
from shop.selectors.plans import next_for, plan_of, readiness
from shop.selectors.ready import is_forgotten
from shop.services import clocks, plan_waits, plans
from shop.views.common import number_of

_IDS = "plan_%s"  # the job page has other forms with fields of the same names
UNDO = "part_undo"
Act = Callable[[ShopRequest, Task], str]


@require_safe
def plan(request: ShopRequest, pk: int) -> HttpResponse:
    return _answer(request, _job(pk))


@require_safe
def ready(request: ShopRequest, pk: int) -> HttpResponse:
    """When the job will be ready: a simulation of all open work, which the page around it does not wait for."""
    job = _job(pk)
    name = "shop/plan/ready.html#answer" if request.htmx else "shop/plan/ready.html"
    return render(request, name, {"job": job, "ready": readiness([job]).get(job.pk)})


@require_safe
def floor_ready(request: ShopRequest) -> HttpResponse:
    """Until when the cars on the floor are here, the latest against its promise first."""
    jobs = list(
        Job.objects.exclude(stage__in=[Stage.DONE, Stage.GONE]).filter(tasks__state=TaskState.OPEN).distinct()
        .select_related("car")
    )  # fmt: skip
    found = readiness(jobs)
    rows = [(job, found[job.pk]) for job in jobs if job.pk in found]
    rows.sort(key=lambda row: (not row[1].late, row[0].promised_on or dt.date.max, row[1].by.likely, row[0].pk))
    name = "shop/plan/floor_ready.html#answer" if request.htmx else "shop/plan/floor_ready.html"
    return render(request, name, {"rows": rows})


@require_safe
def next_up(request: ShopRequest) -> HttpResponse:
    """What the person who asks does next."""
    name = "shop/plan/next.html#answer" if request.htmx else "shop/plan/next.html"
    return render(request, name, {"rows": next_for(request.user, timezone.now())})


@require_POST
@needs("plan.write")
def task_add(request: ShopRequest, pk: int) -> HttpResponse:
    job, form = _job(pk), _task_form(request.POST)
    if not form.is_valid():
        return _answer(request, job, status=422, task_form=form)
    try:
        plans.task_add(job=job, by=request.user, **form.cleaned_data)
    except ShopError as error:
        form.add_error(None, error.words)
        return _answer(request, job, status=error.status, task_form=form)
    return _done(request, job, _("The task is in the plan."))


@require_POST
@needs("plan.write")
def template_apply(request: ShopRequest, pk: int) -> HttpResponse:
    job, form = _job(pk), TemplateForm(_choices(), request.POST, auto_id=_IDS)
    if not form.is_valid():
        return _answer(request, job, status=422, template_form=form)
    made = plans.plan_apply(job=job, by=request.user, template=_templates()[form.cleaned_data["template"]])
    return _done(request, job, _("{count} tasks are in the plan.").format(count=len(made)))


@needs("plan.write")
def task(request: ShopRequest, pk: int) -> HttpResponse:
    row = _task(pk)
    form = TaskForm(request.POST or None, task=row)
    if request.method == "POST" and form.is_valid():
        try:
            plans.task_change(task=row, by=request.user, **form.cleaned_data)
        except ShopError as error:
            form.add_error(None, error.words)
            return _task_page(request, row, form, error.status)
        messages.success(request, _("The task is changed."))
        return redirect(_plan_url(row.job))
    return _task_page(request, row, form, 422 if request.method == "POST" else 200)


@require_POST
@needs("clock.write")
def task_act(request: ShopRequest, pk: int, act: str) -> HttpResponse:
    row = _task(pk)
    try:
        said = _ACTS[act](request, row)
    except clocks.ClockForgotten as error:
        if error.clock.person_id != request.user.pk and not may(request.user, "clock.correct"):
            raise
        url = reverse("shop:clock", args=[error.clock.pk])
        return HttpResponseClientRedirect(url) if request.htmx else redirect(url)
    if "stay" in request.POST:
        messages.success(request, said)
        return redirect("shop:task", row.pk)
    return _done(request, row.job, said)


@needs("clock.write")
def clock(request: ShopRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(Clock.objects.select_related("person", "task__job__car"), pk=pk)
    form = ClockForm(row, request.POST or None, both=may(request.user, "clock.correct"))
    status = 422 if request.method == "POST" else 200
    if request.method == "POST" and form.is_valid():
        try:
            clocks.clock_set(clock=row, by=request.user, **form.cleaned_data)
        except ShopError as error:
            form.add_error(None, error.words)
            status = error.status
        else:
            messages.success(request, _("The clock is set."))
            return redirect(_plan_url(row.task.job))
    asked = is_forgotten(row, timezone.now())
    return render(request, "shop/plan/clock.html", {"clock": row, "form": form, "asked": asked}, status=status)


def _start(request: ShopRequest, row: Task) -> str:
    stopped = clocks.clock_start(task=row, by=request.user)
    if stopped is None:
        return _("Your clock runs on “{task}”.").format(task=row.title)
    words = _("Your clock runs on “{task}”; the one on “{other}” is stopped.")
    return words.format(task=row.title, other=stopped.task.title)


def _stop(request: ShopRequest, row: Task) -> str:
    running = clocks.running_of(request.user)
    if running is None or running.task_id != row.pk:
        raise Conflict(_("Your clock does not run on “{task}”.").format(task=row.title))
    clocks.clock_stop(clock=running, by=request.user)
    return _("Your clock is stopped.")


def _end(request: ShopRequest, row: Task) -> str:
    return _ended(_("“{task}” is done."), row, plans.task_end(task=row, by=request.user))


def _drop(request: ShopRequest, row: Task) -> str:
    return _ended(_("“{task}” is dropped."), row, plans.task_end(task=row, by=request.user, dropped=True))


def _ended(words: str, row: Task, stopped: list[str]) -> str:
    said = words.format(task=row.title)
    return f"{said} {_('Clocks stopped: {people}.').format(people=', '.join(stopped))}" if stopped else said


def _reopen(request: ShopRequest, row: Task) -> str:
    plans.task_reopen(task=row, by=request.user)
    return _("“{task}” is open again.").format(task=row.title)


def _up(request: ShopRequest, row: Task) -> str:
    plans.task_move(task=row, by=request.user, up=True)
    return _("The order is changed.")


def _down(request: ShopRequest, row: Task) -> str:
    plans.task_move(task=row, by=request.user, up=False)
    return _("The order is changed.")


def _block(request: ShopRequest, row: Task) -> str:
    plans.task_block(task=row, by=request.user, note=_clean(BlockForm(request.POST))["note"])
    return _("It is noted.")


def _before(request: ShopRequest, row: Task) -> str:
    plans.order_add(task=row, before=_clean(BeforeForm(row, request.POST))["before"], by=request.user)
    return _("The order is changed.")


def _not_before(request: ShopRequest, row: Task) -> str:
    links = TaskOrder.objects.select_related("before").filter(task=row)
    link = get_object_or_404(links, before=number_of(request.POST.get("before", "")))
    plans.order_remove(task=row, before=link.before, by=request.user)
    return _("The order is changed.")


def _part(request: ShopRequest, row: Task) -> str:
    plan_waits.task_part_add(task=row, by=request.user, **_clean(PartForm(request.POST)))
    return _("The part is noted.")


def _part_here(request: ShopRequest, row: Task) -> str:
    plan_waits.task_part_here(row=_part_of(request, row), by=request.user, here=True)
    return _("The part is here.")


def _part_not_here(request: ShopRequest, row: Task) -> str:
    plan_waits.task_part_here(row=_part_of(request, row), by=request.user, here=False)
    return _("The part is not here.")


def _part_remove(request: ShopRequest, row: Task) -> str:
    gone = plan_waits.task_part_remove(row=_part_of(request, row), by=request.user)
    request.session[UNDO] = {
        "task": row.pk, "part": gone.part, "name": gone.name, "quantity": gone.quantity,
        "expected_on": gone.expected_on.isoformat() if gone.expected_on else "",
        "here_on": gone.here_on.isoformat() if gone.here_on else "",
    }  # fmt: skip
    return _("The part is taken off.")


def _part_return(request: ShopRequest, row: Task) -> str:
    """What this person took off last, of this task."""
    last = _taken_off(request, row)
    if last is None:
        raise ShopError(_("No part that you took off this task last can be put back."))
    days = {name: dt.date.fromisoformat(last[name]) if last[name] else None for name in ("expected_on", "here_on")}
    gone = TaskPart(task=row, part=last["part"], name=last["name"], quantity=last["quantity"], **days)
    plan_waits.task_part_return(gone=gone, by=request.user)
    request.session.pop(UNDO)
    return _("The part is needed again.")


def _taken_off(request: ShopRequest, row: Task) -> dict[str, Any] | None:
    last: dict[str, Any] | None = request.session.get(UNDO)
    return last if last and last["task"] == row.pk else None


def _sent(request: ShopRequest, row: Task) -> str:
    plan_waits.outside_sent(task=row, by=request.user, on=_clean(OutsideForm(request.POST))["on"])
    return _("It is noted as sent.")


def _not_sent(request: ShopRequest, row: Task) -> str:
    plan_waits.outside_sent(task=row, by=request.user, on=None)
    return _("It is noted as not sent.")


def _back(request: ShopRequest, row: Task) -> str:
    plan_waits.outside_back(task=row, by=request.user, on=_clean(OutsideForm(request.POST))["on"])
    return _("It is noted as back.")


_ACTS: Mapping[str, Act] = {
    "start": _start, "stop": _stop, "end": _end, "drop": _drop, "reopen": _reopen, "up": _up, "down": _down,
    "block": _block, "before": _before, "not-before": _not_before, "part": _part, "part-here": _part_here,
    "part-not-here": _part_not_here, "part-remove": _part_remove, "part-return": _part_return, "sent": _sent,
    "not-sent": _not_sent, "back": _back,
}  # fmt: skip
ACTS = tuple(_ACTS)


def _clean(form: Any) -> dict[str, Any]:
    """What a short form holds; the first mistake as one sentence."""
    if form.is_valid():
        cleaned: dict[str, Any] = form.cleaned_data
        return cleaned
    name, errors = next(iter(form.errors.items()))
    label = form.fields[name].label
    raise ShopError(_("{field}: {mistake}").format(field=label, mistake=errors[0]))


def _part_of(request: ShopRequest, row: Task) -> TaskPart:
    parts = TaskPart.objects.select_related("task__job__car").filter(task=row)
    return get_object_or_404(parts, pk=number_of(request.POST.get("part", "")))


def _job(pk: int) -> Job:
    return get_object_or_404(Job.objects.select_related("car"), pk=pk)


def _task(pk: int) -> Task:
    return get_object_or_404(Task.objects.select_related("job__car"), pk=pk)


def _task_form(data: Any = None) -> TaskForm:
    return TaskForm(data, auto_id=_IDS)


def _templates() -> dict[str, PlanTemplate]:
    return templates_of(Path(settings.BASE_DIR) / "fixtures" / "plans.yaml")


def _choices() -> list[tuple[str, str]]:
    return [(slug, _(template.title)) for slug, template in _templates().items()]


def _plan_url(job: Job) -> str:
    return reverse("shop:job-plan", args=[job.pk])


def _done(request: ShopRequest, job: Job, said: str) -> HttpResponse:
    if request.htmx:
        return _answer(request, _job(job.pk), said=said)
    messages.success(request, said)
    return redirect(_plan_url(job))


def _answer(request: ShopRequest, job: Job, status: int = 200, **more: Any) -> HttpResponse:
    """The panel for htmx, which swaps no answer of an error; else the page around it."""
    context = {
        "job": job,
        "plan": plan_of(job),
        "task_form": _task_form(),
        "template_form": TemplateForm(_choices(), auto_id=_IDS),
    }
    name = "shop/plan/panel.html" if request.htmx else "shop/plan/plan.html"
    return render(request, name, context | more, status=200 if request.htmx else status)


def _task_page(request: ShopRequest, row: Task, form: TaskForm, status: int) -> HttpResponse:
    context = {
        "task": row, "job": row.job, "form": form, "block_form": BlockForm(initial={"note": row.blocked_note}),
        "before_form": BeforeForm(row), "part_form": PartForm(), "outside_form": OutsideForm(),
        "befores": row.waits_for.select_related("before"), "parts": row.parts.all(),
        "taken_off": _taken_off(request, row),
    }  # fmt: skip
    return render(request, "shop/plan/task.html", context, status=status)
