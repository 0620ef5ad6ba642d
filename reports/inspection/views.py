"""The page of an inspection by plan, and the panel that the job's page loads."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST, require_safe
from django.views.decorators.vary import vary_on_headers

from reports.inspection import services
from reports.inspection.forms import AnswerForm, SkipForm, said
from reports.inspection.models import Inspection, InspectionAnswer
from reports.inspection.page import anchor_of, page_of
from reports.inspection.selectors import standing_of
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.models import Job
from shop.permissions import needs


@require_safe
@vary_on_headers("HX-Request")
def inspection(request: ShopRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("car"), pk=pk)
    row = Inspection.objects.filter(job=job).select_related("opened_by", "given_up_by").first()
    if row is None:
        return render(request, "reports/inspection/none.html", {"job": job})
    row.job = job
    return render(request, "reports/inspection/one.html", _context(request, row))


@require_GET
@vary_on_headers("HX-Request")
def panel(request: ShopRequest, pk: int) -> HttpResponse:
    """How far the inspection is, for the job's page."""
    job = get_object_or_404(Job.objects.select_related("car"), pk=pk)
    row = Inspection.objects.filter(job=job).first()
    standing = None
    if row is not None and row.is_open:
        row.job = job
        standing = standing_of(row)
    part = "#panel" if request.htmx else ""
    context: dict[str, Any] = {"job": job, "inspection": row, "standing": standing}
    if standing is not None:
        context["counts"] = {state: standing.count(state) for state in ("done", "finding", "skipped", "missing")}
    return render(request, f"reports/inspection/panel.html{part}", context)


@require_POST
@needs("inspection.open")
def begin(request: ShopRequest, pk: int) -> HttpResponse:
    row = services.inspection_open(job=get_object_or_404(Job, pk=pk), by=request.user)
    return redirect(row)


@require_POST
@needs("inspection.open")
def give_up(request: ShopRequest, pk: int) -> HttpResponse:
    row = services.inspection_give_up(inspection=_inspection(pk), by=request.user, why=request.POST.get("why", ""))
    messages.success(request, _("The inspection by plan is given up; what was answered stays."))
    return redirect(row)


@require_POST
@needs("bench.write")
def answer(request: ShopRequest, pk: int) -> HttpResponse:
    row = _inspection(pk)
    data = said(AnswerForm(request.POST, request.FILES, job=row.job))
    services.item_answer(
        inspection=row,
        by=request.user,
        key=data["key"],
        grade=data["grade"],
        entry_id=data["entry_id"],
        words=data["words"],
        measured=data["measured"],
        picture=data["picture"],
        upload=data["upload"],
    )
    return _answered(request, row, data["key"])


@require_POST
@needs("bench.write")
def skip(request: ShopRequest, pk: int) -> HttpResponse:
    """One item, or with several `key` all of them for one reason."""
    row, keys = _inspection(pk), tuple(request.POST.getlist("key"))
    data = said(SkipForm(request.POST))
    services.items_skip(inspection=row, by=request.user, keys=keys, why=data["why"], entry_id=data["entry_id"])
    return _answered(request, row, keys[0] if len(keys) == 1 else "")


@require_POST
@needs("bench.write")
def strike(request: ShopRequest, pk: int) -> HttpResponse:
    """With `undo` the reason is that the person takes back their own answer."""
    found = get_object_or_404(InspectionAnswer.objects.select_related("inspection__job__car"), pk=pk)
    why = request.POST.get("why", "")
    if request.POST.get("undo"):
        if found.by_id != request.user.pk:
            raise ShopError(_("Only your own answer can be taken back without a reason."))
        why = _("undone by {who}").format(who=request.user)
    services.answer_strike(answer=found, by=request.user, why=why)
    return _answered(request, found.inspection, found.key)


def _inspection(pk: int) -> Inspection:
    return get_object_or_404(Inspection.objects.select_related("job__car"), job_id=pk)


def _answered(request: ShopRequest, row: Inspection, key: str) -> HttpResponse:
    """The item as it is now with the figures above the list; without htmx, or for several items, the page."""
    if not request.htmx or not key:
        where = f"{row.get_absolute_url()}#{anchor_of(key)}" if key else row.get_absolute_url()
        return redirect(where)
    context = _context(request, row)
    line = next((one for one in context["page"].lines if one.key == key), None)
    if line is None:
        return redirect(row)
    return render(request, "reports/inspection/answered.html", {**context, "line": line})


def _context(request: ShopRequest, row: Inspection) -> dict[str, Any]:
    only_open = request.GET.get("only") == "open"
    return {"job": row.job, "inspection": row, "page": page_of(row, request.user, only_open=only_open)}
