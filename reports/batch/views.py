"""Pages of batches: jobs to tick, and what became of each."""

import uuid

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods
from django.views.decorators.vary import vary_on_headers

from reports.batch.selectors import SHOWN_AT_MOST, batch_shown, batches_lately, jobs_to_issue
from reports.batch.services import batch_ask
from reports.models import CertificateBatch
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.permissions import needs
from shop.runs import run_may_cancel
from shop.views.common import number_of


@require_http_methods(["GET", "HEAD", "POST"])
@vary_on_headers("HX-Request")
@needs("certificate.issue")
def batches(request: ShopRequest) -> HttpResponse:
    """GET: the jobs that can be issued now, `?job=` those that are ticked already. POST: the batch is asked for."""
    if request.method != "POST":
        return _page(request, ticked=_ticked(request.GET.getlist("job")))
    ticked = _ticked(request.POST.getlist("job"))
    try:
        batch = batch_ask(jobs=ticked, key=_key(request.POST.get("key", "")), by=request.user)
    except ShopError as error:
        return _page(request, error.status, ticked=ticked, problem=error.words)
    return redirect(batch)


@require_GET
@vary_on_headers("HX-Request")
@needs("certificate.issue")
def batch(request: ShopRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(CertificateBatch.objects.select_related("run", "by"), pk=pk)
    shown = batch_shown(found)
    may_cancel = not shown.ended and shown.run is not None and run_may_cancel(shown.run, request.user)
    context = {"batch": found, "shown": shown, "run": shown.run, "may_cancel": may_cancel}
    return render(request, f"reports/batch/batch.html{'#state' if request.htmx else ''}", context)


def _page(request: ShopRequest, status: int = 200, *, ticked: list[int], problem: str = "") -> HttpResponse:
    words = request.GET.get("q", "")
    jobs = jobs_to_issue(words)
    context = {
        "jobs": jobs, "words": words.strip(), "ticked": ticked, "problem": problem, "key": uuid.uuid4(),
        "at_most": SHOWN_AT_MOST, "batches": batches_lately(),
    }  # fmt: skip
    return render(request, f"reports/batch/batches.html{'#found' if request.htmx else ''}", context, status=status)


def _ticked(values: list[str]) -> list[int]:
    return [number for value in values if (number := number_of(value))]


def _key(value: str) -> uuid.UUID:
    try:
        return uuid.UUID(value)
    except ValueError as error:
        raise ShopError(_("The form is not whole. Load the page again.")) from error
