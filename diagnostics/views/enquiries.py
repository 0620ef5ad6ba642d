"""Enquiries at the counter: those that wait, the questions for a caller on one page, and what becomes of them."""

from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from diagnostics import services
from diagnostics.engine.errors import CaseError
from diagnostics.engine.outlook import Outlook
from diagnostics.engine.questions import BOTH, NAMES, checked, question
from diagnostics.engine.system.model import TopSystem
from diagnostics.enquiry_forms import CallerForm, answers_at_counter
from diagnostics.models import Enquiry, EnquiryState, SystemRevision
from diagnostics.selectors import newest_revisions, system_of
from diagnostics.selectors.enquiries import (
    enquiries_done,
    enquiries_waiting,
    outlook_for,
    outlook_of,
    told_lines,
)
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.models import Car
from shop.permissions import needs
from shop.selectors import cars_found


@require_GET
def enquiries(request: ShopRequest) -> HttpResponse:
    context = {"waiting": enquiries_waiting(), "done": enquiries_done()}
    return render(request, "diagnostics/enquiries/list.html", context)


@require_GET
def waiting(request: ShopRequest) -> HttpResponse:
    """How many wait, for the Floor: nothing where none does."""
    part = "#count" if request.htmx else ""
    count = Enquiry.objects.filter(state=EnquiryState.NEW).count()
    return render(request, f"diagnostics/enquiries/waiting.html{part}", {"count": count})


@require_http_methods(["GET", "POST"])
@needs("enquiry.write")
def ask(request: ShopRequest) -> HttpResponse:
    """`?system=`: its questions on one page. Fetched by htmx as the answers change: the suspects alone."""
    data = request.POST or request.GET
    revisions = list(newest_revisions())
    revision = next((one for one in revisions if one.slug == data.get("system")), None)
    context: dict[str, Any] = {"revisions": revisions, "revision": revision, "data": data}
    outlook, problem = _thought(revision, request)
    if request.htmx and request.htmx.target == "ranked":
        return render(request, "diagnostics/enquiries/ask.html#ranked", {"outlook": outlook, "problem": problem})
    if revision is not None:
        context["questions"] = _questions(system_of(revision))
    form = CallerForm(request.POST or None)
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            try:
                answers = answers_at_counter(request.POST)
                made = services.enquiry_send(
                    revision=revision, answers=answers, contact=form.contact(), by=request.user
                )
                return redirect(made)
            except ShopError as error:
                form.add_error(None, error.words)
                status = error.status
    context |= {"form": form, "outlook": outlook, "problem": problem}
    return render(request, "diagnostics/enquiries/ask.html", context, status=status)


def _thought(revision: SystemRevision | None, request: ShopRequest) -> tuple[Outlook | None, str]:
    """What is thought of the answers on the page so far, and what is wrong with them."""
    if revision is None:
        return None, ""
    try:
        answers = checked(system_of(revision), answers_at_counter(request.POST or request.GET))
    except (ShopError, CaseError) as error:
        return None, str(error)
    return outlook_for(revision, answers), ""


def _questions(system: TopSystem) -> list[dict[str, Any]]:
    """The questions in order; those for where it stops become one with the steps of both motions."""
    found: list[dict[str, Any]] = []
    for name in NAMES:
        if name == "tried":
            continue
        if name == "stops":
            groups = [
                (motion, declared.title, question(system, name, {"fails": motion}).choices[:-1])
                for motion, declared in system.motions.items()
            ]
            words = question(system, name, {"fails": BOTH})
            found.append({"name": "stop", "words": words.words, "groups": groups})
        else:
            asked = question(system, name, {})
            found.append({"name": name, "words": asked.words, "choices": asked.choices, "many": asked.many})
    return found


@require_GET
def enquiry(request: ShopRequest, pk: int) -> HttpResponse:
    """What was told, what is thought of it, and the car to make it a job on: `?q=` looks for one, `?car=` names it."""
    found = _enquiry(pk)
    number = request.GET.get("car", "")
    chosen = Car.objects.filter(pk=int(number) if number.isdecimal() and len(number) < 19 else 0).first()
    words = request.GET.get("q", "").strip()
    cars = [chosen] if chosen else cars_found(words) if words else []
    context = {"enquiry": found, "told": told_lines(found), "outlook": outlook_of(found), "cars": cars, "words": words}
    return render(request, "diagnostics/enquiries/one.html", context)


@require_POST
@needs("enquiry.write")
def take(request: ShopRequest, pk: int) -> HttpResponse:
    number = request.POST.get("car", "")
    car = Car.objects.filter(pk=int(number) if number.isdecimal() and len(number) < 19 else 0).first()
    if car is None:
        raise ShopError(_("Choose the car first: find it by VIN, plate or owner, or take it in."))
    job = services.enquiry_take(
        enquiry=_enquiry(pk), by=request.user, car=car, as_owner=request.POST.get("as_owner") == "yes"
    )
    messages.success(request, _("{number} is booked, with what was told as its complaint.").format(number=job.number))
    return redirect(job)


@require_POST
@needs("enquiry.write")
def close(request: ShopRequest, pk: int) -> HttpResponse:
    services.enquiry_close(enquiry=_enquiry(pk), by=request.user)
    return redirect("diagnostics:enquiries")


@require_POST
@needs("enquiry.erase")
def erase(request: ShopRequest, pk: int) -> HttpResponse:
    found = services.enquiry_erase(enquiry=_enquiry(pk), by=request.user)
    messages.success(request, _("The contact of enquiry {number} is erased.").format(number=found.number))
    return redirect(found)


def _enquiry(pk: int) -> Enquiry:
    return get_object_or_404(Enquiry.objects.select_related("revision", "job", "job__car", "by"), pk=pk)
