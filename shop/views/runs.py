"""The page of one run of background work."""

import uuid

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe
from django.views.decorators.vary import vary_on_headers

from shop.http import ShopRequest
from shop.models import RunState, TaskRun
from shop.runs import CANCEL_PATIENCE, run_cancel, run_may_cancel


@require_safe
@vary_on_headers("HX-Request")
def run(request: ShopRequest, pk: uuid.UUID) -> HttpResponse:
    found = get_object_or_404(TaskRun.objects.select_related("job", "job__car", "by"), pk=pk)
    ended = found.state not in (RunState.QUEUED, RunState.RUNNING)
    context = {"run": found, "ended": ended, "left": found.total - found.done}
    asked = found.cancel_asked_at
    context["stopping"] = not ended and asked is not None
    # Pressing again helps only where the worker no longer looks.
    waiting = asked is not None and timezone.now() - asked < CANCEL_PATIENCE
    context["may_cancel"] = not ended and not waiting and run_may_cancel(found, request.user)
    part = "#state" if request.htmx else ""
    return render(request, f"shop/run.html{part}", context)


@require_POST
def cancel(request: ShopRequest, pk: uuid.UUID) -> HttpResponse:
    return redirect(run_cancel(run=get_object_or_404(TaskRun, pk=pk), by=request.user))
