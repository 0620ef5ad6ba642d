"""Bays and people over the days, the bays themselves, and who is away."""

import datetime as dt
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from shop import services
from shop.bays_forms import AwayForm, BayForm, BookingForm, PlaceForm, booking_initial
from shop.errors import Conflict, ShopError
from shop.http import ShopRequest
from shop.models import Away, Bay, BayBooking, Task
from shop.permissions import may, needs
from shop.selectors import bays as reads
from shop.views.common import number_of

UNDO = "booking_undo"


@require_safe
def week(request: ShopRequest) -> HttpResponse:
    """`?day=` in the week that is shown, `?by=people`, `?span=day`, `?task=` to book a time for."""
    return _week_page(request, request.GET)


def _shown(query: QueryDict) -> tuple[dt.date, dict[str, str]]:
    """The day and the rest of the address, whatever was typed into it."""
    try:
        day = parse_date(query.get("day", "")[:10]) or timezone.localdate()
    except ValueError:
        day = timezone.localdate()
    day = min(max(day, dt.date(2000, 1, 1)), dt.date(2199, 12, 31))
    known = (("by", "people"), ("span", "day"))
    return day, {name: value for name, value in known if query.get(name) == value}


def _at(day: dt.date, kept: dict[str, str]) -> str:
    return f"{reverse('shop:week')}?{urlencode({'day': day.isoformat(), **kept})}"


def _week_page(
    request: ShopRequest, query: QueryDict, status: int = 200, form: PlaceForm | None = None
) -> HttpResponse:
    day, kept = _shown(query)
    one_day, by_people = "span" in kept, "by" in kept
    step = dt.timedelta(days=1 if one_day else 7)
    task = reads.bookable_tasks().filter(pk=number_of(query.get("task", ""))).first()
    if form is None and may(request.user, "plan.write"):
        form = PlaceForm(task=task, initial=_place_initial(day, task))
    context = {
        "week": reads.week(day, by_people=by_people, one_day=one_day),
        "day": day,
        "today": timezone.localdate(),
        "one_day": one_day,
        "by_people": by_people,
        "earlier": _at(day - step, kept),
        "later": _at(day + step, kept),
        "now": _at(timezone.localdate(), kept),
        "bays_at": _at(day, {name: value for name, value in kept.items() if name != "by"}),
        "people_at": _at(day, {**kept, "by": "people"}),
        "week_at": _at(day, {name: value for name, value in kept.items() if name != "span"}),
        "day_at": _at(day, {**kept, "span": "day"}),
        "back": urlencode({"day": day.isoformat(), **kept}),
        "form": form,
        "unfolded": task is not None or status != 200,
        "undo": request.session.get(UNDO),
    }
    return render(request, "shop/bays/week.html", context, status=status)


def _place_initial(day: dt.date, task: Task | None) -> dict[str, Any]:
    initial: dict[str, Any] = {"day": day, "start": dt.time(8), "hours": 1}
    if task is not None:
        quarters = max(1, -(-task.planned_minutes // 15))
        initial |= {"task": task.pk, "bay": task.bay_id, "person": task.person_id, "hours": quarters / 4}
    return initial


def _back(request: ShopRequest, booking: BayBooking | None = None) -> HttpResponse:
    """To the week as it was seen, at the booking."""
    day, kept = _shown(QueryDict(request.POST.get("back", "")[:200]))
    if booking is not None:
        shown = [day + dt.timedelta(days=n - (0 if "span" in kept else day.weekday())) for n in range(7)]
        begins = timezone.localdate(booking.starts_at)
        day = day if begins in (shown[:1] if "span" in kept else shown) else begins
    return redirect(_at(day, kept) + (f"#b{booking.pk}" if booking is not None else ""))


def _told(request: ShopRequest, placed: services.Placed) -> None:
    messages.success(request, _("Booked: {what}.").format(what=reads.booking_words(placed.booking)))
    for words in placed.warnings:
        messages.warning(request, words)


def _remember(request: ShopRequest, act: str, booking: BayBooking, before: BayBooking | None = None) -> None:
    """What “Take back” would do. In the session: it is this person's last move, on whatever page they are."""
    row = before or booking
    request.session[UNDO] = {
        "act": act, "booking": booking.pk, "seen": booking.sequence, "task": row.task_id, "bay": row.bay_id,
        "person": row.person_id, "starts_at": row.starts_at.isoformat(), "ends_at": row.ends_at.isoformat(),
        "says": reads.booking_words(booking),
    }  # fmt: skip


@needs("plan.write")
def booking_new(request: ShopRequest) -> HttpResponse:
    if request.method != "POST":
        return redirect("shop:week")
    form, back = PlaceForm(request.POST), QueryDict(request.POST.get("back", "")[:200])
    if not form.is_valid():
        return _week_page(request, back, 422, form)
    data = form.cleaned_data
    try:
        placed = services.booking_place(
            task=data["task"], bay=data["bay"], person=data["person"], by=request.user, **form.stretch
        )
    except ShopError as error:
        form.add_error(None, error.words)
        return _week_page(request, back, error.status, form)
    _remember(request, "drop", placed.booking)
    _told(request, placed)
    return _back(request, placed.booking)


def _booking(pk: int) -> BayBooking:
    return get_object_or_404(BayBooking.objects.select_related("task__job__car", "bay", "person"), pk=pk)


@needs("plan.write")
def booking(request: ShopRequest, pk: int) -> HttpResponse:
    """The form of one booking. POST moves it, from here or from the week where it was dragged."""
    found = _booking(pk)
    if request.method != "POST":
        form = BookingForm(initial=booking_initial(found, timezone.localtime(found.starts_at)))
        return _booking_page(request, found, form)
    form = BookingForm(request.POST)
    if not form.is_valid():
        return _booking_page(request, found, form, 422)
    data = form.cleaned_data
    try:
        placed = services.booking_move(
            booking=found, bay=data["bay"], person=data["person"], seen=data["seen"] or 0, by=request.user,
            **form.stretch,
        )  # fmt: skip
    except ShopError as error:
        if "dragged" in request.POST:
            messages.error(request, error.words)
            return _week_page(request, QueryDict(request.POST.get("back", "")[:200]), error.status)
        form.add_error(None, error.words)
        return _booking_page(request, found, form, error.status)
    if placed.booking.sequence != found.sequence:
        _remember(request, "move", placed.booking, found)
        _told(request, placed)
    return _back(request, placed.booking)


def _booking_page(request: ShopRequest, found: BayBooking, form: BookingForm, status: int = 200) -> HttpResponse:
    back = request.POST.get("back", "") or urlencode({"day": timezone.localdate(found.starts_at).isoformat()})
    day, kept = _shown(QueryDict(back[:200]))
    context = {"booking": found, "form": form, "back": back[:200], "back_at": _at(day, kept)}
    return render(request, "shop/bays/booking.html", context, status=status)


@require_POST
@needs("plan.write")
def booking_drop(request: ShopRequest, pk: int) -> HttpResponse:
    found = _booking(pk)
    services.booking_drop(booking=found, seen=number_of(request.POST.get("seen", "")), by=request.user)
    _remember(request, "place", found)
    messages.success(request, _("Taken out: {what}.").format(what=reads.booking_words(found)))
    return _back(request)


@require_POST
@needs("plan.write")
def booking_undo(request: ShopRequest) -> HttpResponse:
    """Take back this person's last move; Conflict where the booking has changed since."""
    last = request.session.get(UNDO)
    if last is None:
        raise ShopError(_("There is no move of yours to take back."))
    stretch = {name: dt.datetime.fromisoformat(last[name]) for name in ("starts_at", "ends_at")}
    there = BayBooking.objects.filter(pk=last["booking"]).first()
    person = reads.person_of(last["person"])
    bay = get_object_or_404(Bay, pk=last["bay"])
    placed = None
    if last["act"] == "place":
        task = get_object_or_404(Task, pk=last["task"])
        placed = services.booking_place(task=task, bay=bay, person=person, by=request.user, **stretch)
    elif there is None:
        raise Conflict(_("Somebody has taken this booking out meanwhile."))
    elif last["act"] == "drop":
        services.booking_drop(booking=there, seen=last["seen"], by=request.user)
        messages.success(request, _("Taken back."))
    else:
        placed = services.booking_move(
            booking=there, bay=bay, person=person, seen=last["seen"], by=request.user, **stretch
        )
    request.session.pop(UNDO)
    if placed is not None:
        _told(request, placed)
    return _back(request, placed.booking if placed else None)


@needs("bay.write")
def bays(request: ShopRequest) -> HttpResponse:
    """Every bay with its form; POST adds one."""
    form = BayForm(request.POST if request.method == "POST" else None)
    if request.method != "POST":
        return _bays_page(request, form)
    if not form.is_valid():
        return _bays_page(request, form, 422)
    try:
        made = services.bay_add(name=form.cleaned_data["name"], by=request.user)
    except ShopError as error:
        form.add_error("name", error.words)
        return _bays_page(request, form, error.status)
    messages.success(request, _("{bay} is there.").format(bay=made))
    return redirect("shop:bays")


def _bays_page(request: ShopRequest, form: BayForm, status: int = 200) -> HttpResponse:
    return render(request, "shop/bays/bays.html", {"bays": reads.bays(), "form": form}, status=status)


@require_POST
@needs("bay.write")
def bay_rename(request: ShopRequest, pk: int) -> HttpResponse:
    form = BayForm(request.POST)
    if not form.is_valid():
        raise ShopError(_("Give the bay a name of at most 40 characters."))
    services.bay_rename(bay=get_object_or_404(Bay, pk=pk), name=form.cleaned_data["name"], by=request.user)
    return redirect("shop:bays")


@require_POST
@needs("bay.write")
def bay_give_up(request: ShopRequest, pk: int) -> HttpResponse:
    done = services.bay_give_up(bay=get_object_or_404(Bay, pk=pk), by=request.user)
    messages.success(request, _("{bay} is given up; below it can be taken up again.").format(bay=done))
    return redirect("shop:bays")


@require_POST
@needs("bay.write")
def bay_take_up(request: ShopRequest, pk: int) -> HttpResponse:
    services.bay_take_up(bay=get_object_or_404(Bay, pk=pk), by=request.user)
    return redirect("shop:bays")


@needs("clock.write")
def away(request: ShopRequest) -> HttpResponse:
    """Who is away from today on; POST enters days, of oneself or, for the owner, of anybody."""
    data = request.POST.copy() if request.method == "POST" else None
    if data is not None and not may(request.user, "people.manage"):
        data.setdefault("person", str(request.user.pk))
    form, status = AwayForm(data, initial={"person": request.user.pk}), 200
    if data is not None:
        status = 422
        if form.is_valid():
            try:
                services.away_add(by=request.user, **form.cleaned_data)
            except ShopError as error:
                form.add_error(None, error.words)
                status = error.status
            else:
                return redirect("shop:away")
    if not may(request.user, "people.manage"):
        del form.fields["person"]
    context = {"form": form, "away": reads.away_from(timezone.localdate())}
    return render(request, "shop/bays/away.html", context, status=status)


@require_POST
@needs("clock.write")
def away_remove(request: ShopRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(Away.objects.select_related("person"), pk=pk)
    services.away_remove(away=found, by=request.user)
    messages.success(request, _("{person} works on these days.").format(person=found.person))
    return redirect("shop:away")
