"""Calendar links, and the calendars behind them, which readers fetch without a sign-in."""

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import http_date
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from shop import services
from shop.http import ShopRequest, absolute, sender_address
from shop.limits import count
from shop.models import Bay, FeedLink
from shop.permissions import needs
from shop.planning.ical import feed
from shop.selectors import bays as reads
from shop.views.common import number_of

READS_AN_HOUR, GUESSES_AN_HOUR = 120, 30


@require_safe
@needs("clock.write")
def links(request: ShopRequest) -> HttpResponse:
    own, bays = reads.calendars_of(request.user)
    return render(request, "shop/bays/calendars.html", {"own": own, "bays": bays})


@never_cache
@needs("clock.write")
def make(request: ShopRequest) -> HttpResponse:
    """POST: a new address, of `bay` or without it one's own, on the answer this once. GET: the way back."""
    if request.method != "POST":
        return redirect("shop:calendars")
    wanted = request.POST.get("bay", "")
    bay = get_object_or_404(Bay, pk=number_of(wanted)) if wanted else None
    link, token = services.feed_make(by=request.user, bay=bay)
    context = {"link": link, "address": absolute(request, reverse("shop:calendar", args=[token]))}
    return _no_referrer(render(request, "shop/bays/calendar_made.html", context))


@require_POST
@needs("clock.write")
def revoke(request: ShopRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(FeedLink.objects.select_related("person", "bay"), pk=pk)
    services.feed_revoke(link=found, by=request.user)
    messages.success(request, _("The link is revoked: its address opens nothing any more."))
    return redirect("shop:calendars")


@login_not_required
@require_safe
def calendar(request: HttpRequest, token: str) -> HttpResponse:
    """The calendar as text/calendar; 304 where the reader has it. A link that was revoked looks like one that never
    was."""
    words = _("Too much was asked for from your address within an hour. Try again later.")
    link = reads.feed_behind(token)
    if link is None:
        count("calendar-guess", sender_address(request), most=GUESSES_AN_HOUR, words=words)
        words = _("There is no calendar at this address. Ask in the shop for a new link.")
        return _no_referrer(render(request, "shop/error.html", {"status": 404, "words": words}, status=404))
    # Of this calendar alone: a bay's is read by several people, and one sender may have several.
    count("calendar", f"{link.pk} {sender_address(request)}", most=READS_AN_HOUR, words=words)
    events = reads.feed_events(link, timezone.now())
    name = str(link.bay or link.person)
    digest = reads.digest_of(events, name)
    since = int(services.feed_given(link=link, digest=digest).timestamp())
    known = get_conditional_response(request, etag=f'"{digest}"', last_modified=since)
    response = known or HttpResponse(feed(name, events), content_type="text/calendar; charset=utf-8")
    response["ETag"], response["Last-Modified"] = f'"{digest}"', http_date(since)
    return _no_referrer(response)


def _no_referrer(response: HttpResponse) -> HttpResponse:
    response["Referrer-Policy"] = "no-referrer"
    response["Cache-Control"] = "no-store, private"
    return response
