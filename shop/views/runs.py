"""The page of one run of background work."""

import uuid

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe
from django.views.decorators.vary import vary_on_headers

from shop.http import ShopRequest
from shop.models import RunState, TaskRun


@require_safe
@vary_on_headers("HX-Request")
def run(request: ShopRequest, pk: uuid.UUID) -> HttpResponse:
    found = get_object_or_404(TaskRun.objects.select_related("job", "job__car", "by"), pk=pk)
    ended = found.state in (RunState.DONE, RunState.FAILED)
    part = "#state" if request.htmx else ""
    return render(request, f"shop/run.html{part}", {"run": found, "ended": ended})
