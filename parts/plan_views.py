"""The shelf plan's page: made anew, decided line by line, undone."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe

from parts.models import PlanLine, ShelfPlan
from parts.plan_forms import DecideForm, PolicyForm
from parts.selectors.plan import plan_run_alive, plan_shown
from parts.services.plan import line_decide, line_reopen, plan_accept, policy_now, policy_set
from parts.tasks import plan_ask
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.permissions import needs


@require_safe
def plan(request: ShopRequest) -> HttpResponse:
    return render(request, "parts/plan/plan.html", _context())


@require_POST
@needs("order.write")
def plan_anew(request: ShopRequest) -> HttpResponse:
    """Ask for a plan of today and show how far it is."""
    return redirect(plan_ask(by=request.user))


@require_POST
@needs("order.write")
def policy(request: ShopRequest) -> HttpResponse:
    form = PolicyForm(request.POST)
    if form.is_valid():
        policy_set(by=request.user, policy=form.policy())
        messages.success(request, _("Noted. The next plan goes by it."))
        return redirect("parts:plan")
    return render(request, "parts/plan/plan.html", _context(policy_form=form), status=422)


@require_POST
@needs("order.write")
def decide(request: ShopRequest, pk: int) -> HttpResponse:
    """One line: `quantity` and, where it is another than suggested, `why`."""
    line = get_object_or_404(PlanLine.objects.select_related("part"), pk=pk)
    form = DecideForm(request.POST)
    if not form.is_valid():
        words = _("How many pieces of {part}? Expected a whole number from 0.").format(part=line.part.number)
        return _refused(request, line, ShopError(words))
    try:
        line = line_decide(line=line, by=request.user, **form.cleaned_data)
    except ShopError as error:
        return _refused(request, line, error)
    if line.order_line is not None:
        told = _("{quantity} × {part} is on the draft {order}.").format(
            quantity=line.quantity, part=line.part.number, order=line.order_line.order.number
        )
    else:
        told = _("{part} is left out of this plan.").format(part=line.part.number)
    messages.success(request, told)
    return redirect("parts:plan")


@require_POST
@needs("order.write")
def reopen(request: ShopRequest, pk: int) -> HttpResponse:
    line = get_object_or_404(PlanLine.objects.select_related("part"), pk=pk)
    try:
        line_reopen(line=line, by=request.user)
    except ShopError as error:
        return _refused(request, line, error)
    messages.success(request, _("{part} is open again.").format(part=line.part.number))
    return redirect("parts:plan")


@require_POST
@needs("order.write")
def accept(request: ShopRequest, pk: int) -> HttpResponse:
    """All of a plan that is suggested and not decided."""
    shelf_plan = get_object_or_404(ShelfPlan, pk=pk)
    try:
        count = plan_accept(plan=shelf_plan, by=request.user)
    except ShopError as error:
        return render(request, "parts/plan/plan.html", _context(problem=error.words), status=error.status)
    told = ngettext("{count} part is on the drafts.", "{count} parts are on the drafts.", count)
    messages.success(request, told.format(count=count))
    return redirect("parts:plan")


def _refused(request: ShopRequest, line: PlanLine, error: ShopError) -> HttpResponse:
    """The page again, the reason beside the line and what was typed in its fields."""
    typed = {"line": line.pk, "words": error.words, "quantity": request.POST.get("quantity", ""),
             "why": request.POST.get("why", "")}  # fmt: skip
    return render(request, "parts/plan/plan.html", _context(typed=typed), status=error.status)


def _context(**more: Any) -> dict[str, Any]:
    return {
        "shown": plan_shown(),
        "run": plan_run_alive(),
        "policy_form": PolicyForm(initial=PolicyForm.of(policy_now())),
        **more,
    }
