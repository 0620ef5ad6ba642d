"""What a job needs from the shelf: a fragment of the job's page, and a page of its own."""

from collections.abc import Callable, Mapping
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST
from django.views.decorators.vary import vary_on_headers

from parts import services
from parts.models import Need, NeedSource
from parts.needs_forms import AskForm, PiecesForm
from parts.selectors import needs as reads
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.models import Job
from shop.permissions import require


@require_GET
@vary_on_headers("HX-Request")
def job_needs(request: ShopRequest, pk: int) -> HttpResponse:
    return _panel(request, _job(pk))


@require_GET
@vary_on_headers("HX-Request")
def likely(request: ShopRequest, pk: int) -> HttpResponse:
    """What the suspects of the job would need: a fragment of its own, since it asks the bench."""
    job = _job(pk)
    template = f"parts/needs/likely.html{'#likely' if request.htmx else ''}"
    return render(request, template, {"job": job, "likely": reads.likely_parts(job)})


@require_POST
def need_add(request: ShopRequest, pk: int) -> HttpResponse:
    """`from`: plan:<line>, suspect:<position>, or nothing for what is typed; `act` issue hands it out at once."""
    job, form = _job(pk), None
    source, _colon, key = request.POST.get("from", "").partition(":")
    handing_out = request.POST.get("act") == "issue"
    require(request.user, "shelf.issue" if handing_out else "need.write")
    try:
        if source == "plan":
            said = _from_plan(request, job, key)
        elif source == "suspect":
            said = _from_suspects(request, job, key)
        else:
            form = _ask_form(request.POST)
            said = _typed(request, job, form, handing_out)
    except ShopError as error:
        return _refused(request, job, error, form)
    return _done(request, job, said)


@require_POST
def need_act(request: ShopRequest, pk: int, act: str) -> HttpResponse:
    if act not in _ACTS:
        raise Http404
    need = get_object_or_404(Need.objects.select_related("job__car", "part", "task_part"), pk=pk)
    require(request.user, "shelf.issue" if act in ("issue", "return") else "need.write")
    try:
        said = _ACTS[act](request, need)
    except ShopError as error:
        return _refused(request, need.job, error, None)
    return _done(request, need.job, said, dropped=need if act == "drop" else None)


Act = Callable[[ShopRequest, Need], str]


def _change(request: ShopRequest, need: Need) -> str:
    services.need_change(need=need, by=request.user, quantity=_clean(PiecesForm(request.POST))["quantity"])
    return _("The number of {part} is changed.").format(part=need.part.number)


def _drop(request: ShopRequest, need: Need) -> str:
    services.need_drop(need=need, by=request.user)
    return _("{part} is not needed.").format(part=need.part.number)


def _again(request: ShopRequest, need: Need) -> str:
    services.need_again(need=need, by=request.user)
    return _("{part} is needed after all.").format(part=need.part.number)


def _reserve(request: ShopRequest, need: Need) -> str:
    missing = services.need_reserve(need=need, by=request.user).missing
    words = _("All of {part} is reserved.") if not missing else _("{missing} × {part} are still missing.")
    return words.format(part=need.part.number, missing=missing)


def _issue(request: ShopRequest, need: Need) -> str:
    services.part_issue(part=need.part, job=need.job, by=request.user, **_clean(PiecesForm(request.POST)))
    return _("{part} is handed out.").format(part=need.part.number)


def _return(request: ShopRequest, need: Need) -> str:
    services.part_return(part=need.part, job=need.job, by=request.user, **_clean(PiecesForm(request.POST)))
    return _("{part} is back on the shelf.").format(part=need.part.number)


_ACTS: Mapping[str, Act] = {
    "change": _change, "drop": _drop, "again": _again, "reserve": _reserve, "issue": _issue, "return": _return,
}  # fmt: skip


def _typed(request: ShopRequest, job: Job, form: AskForm, handing_out: bool) -> str:
    asked = _clean(form)
    part, lot = asked["part"], asked.pop("lot")
    if handing_out:
        services.part_issue(
            part=part, job=job, by=request.user, quantity=asked["quantity"], lot=lot, why=asked["why"]
        )  # fmt: skip
        return _("{part} is handed out.").format(part=part.number)
    return _asked(services.need_add(job=job, by=request.user, **asked))


def _from_plan(request: ShopRequest, job: Job, key: str) -> str:
    for row, part in reads.job_needs(job).planned:
        if str(row.pk) == key:
            return _asked(services.need_add(
                job=job, part=part, by=request.user, quantity=row.quantity, source=NeedSource.PLAN, why=row.task.title,
                task_part=row,
            ))  # fmt: skip
    raise ShopError(_("The work plan waits for no such part any more."))


def _from_suspects(request: ShopRequest, job: Job, position: str) -> str:
    for one in reads.likely_parts(job):
        if one.position == position and one.part is not None:
            return _asked(services.need_add(
                job=job, part=one.part, by=request.user, position=position, chance=one.chance,
                source=NeedSource.SUSPECT, why=_("suspected: {name}").format(name=one.name),
            ))  # fmt: skip
    raise ShopError(_("The bench no longer suspects {position}.").format(position=position))


def _asked(need: Need) -> str:
    if need.missing:
        return _("{part} is asked for; {missing} are missing.").format(part=need.part.number, missing=need.missing)
    return _("{part} is reserved.").format(part=need.part.number)


def _clean(form: forms.Form) -> dict[str, Any]:
    """What a form holds; its first mistake as one sentence."""
    if form.is_valid():
        return form.cleaned_data
    name, errors = next(iter(form.errors.items()))
    raise ShopError(_("{field}: {mistake}").format(field=form.fields[name].label, mistake=errors[0]))


def _job(pk: int) -> Job:
    return get_object_or_404(Job.objects.select_related("car"), pk=pk)


def _done(request: ShopRequest, job: Job, said: str, dropped: Need | None = None) -> HttpResponse:
    if request.htmx:
        job.refresh_from_db()
        return _panel(request, job, said=said, dropped=dropped)
    messages.success(request, said)
    return redirect(job)


def _refused(request: ShopRequest, job: Job, error: ShopError, form: AskForm | None) -> HttpResponse:
    """The panel again with the one sentence of why not, and with what was typed."""
    return _panel(request, job, status=error.status, problem=error.words, form=form)


def _panel(request: ShopRequest, job: Job, status: int = 200, **more: Any) -> HttpResponse:
    template = f"parts/needs/panel.html{'#panel' if request.htmx else ''}"
    context = {"job": job, "needs": reads.job_needs(job), **more}
    context["form"] = more.get("form") or _ask_form()
    return render(request, template, context, status=status)


def _ask_form(data: Any = None) -> AskForm:
    """The page of a job has other forms with a position: ids differ."""
    return AskForm(data, auto_id="ask_%s")
