"""Errors of services become answers in one place, and whoever must sign in first comes back to the page they left."""

from collections.abc import Callable
from urllib.parse import urlencode, urlsplit

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render, resolve_url
from django.utils.translation import gettext as _
from django_htmx.http import HttpResponseClientRedirect, reselect, reswap, retarget
from django_htmx.middleware import HtmxDetails

from shop.errors import NotDone, ShopError

GetResponse = Callable[[HttpRequest], HttpResponse]


class ShopErrorMiddleware:
    """A ShopError that a view let through: for htmx a message beside what stands on the page, else the error page."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if response.status_code != 405 or response.content:
            return response
        words = _("There is nothing to read at this address: it only takes what a form sends.")
        page = render(request, "shop/error.html", {"status": 405, "words": words}, status=405)
        page["Allow"] = response["Allow"]
        return page

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, ShopError):
            return None
        reasons = exception.reasons if isinstance(exception, NotDone) else ()
        context = {"status": exception.status, "words": exception.words, "reasons": reasons, "level": "error"}
        if not _htmx(request):
            return render(request, "shop/error.html", context, status=exception.status)
        # Into the messages, whatever the request aimed at: the form keeps what was typed.
        response = render(request, "shop/bits/toast.html", context, status=exception.status)
        return reselect(reswap(retarget(response, "#messages"), "innerHTML"), "unset")


class BodySizeMiddleware:
    """Files of a form go to the disk while it is read, and Django sets them no limit: refused by the length that is
    announced, before anything reads them (so this stands above the check of the form's token)."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: object, *_arguments: object) -> HttpResponse | None:
        announced = request.META.get("CONTENT_LENGTH") or "0"
        most = getattr(view, "takes_bytes", settings.PICTURE_MAX_BYTES) + settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        if announced.isdecimal() and int(announced) <= most:
            return None
        words = _("What was sent is too large; expected at most {limit} MB.").format(limit=most // (1024 * 1024))
        return render(request, "shop/error.html", {"status": 413, "words": words}, status=413)


class BackAfterSignInMiddleware:
    """Where a session ends while somebody works, signing in leads back to the page they were on.

    A fragment would else get the sign-in page into its middle, and a form's address cannot be read after a sign-in.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        sign_in = resolve_url(settings.LOGIN_URL)
        htmx = _htmx(request)
        if htmx and response.status_code == 302 and response["Location"].startswith(sign_in):
            after = htmx.current_url_abs_path or resolve_url(settings.LOGIN_REDIRECT_URL)
            return HttpResponseClientRedirect(f"{sign_in}?{urlencode({'next': after})}")
        if request.method == "POST" and response.status_code == 302 and response["Location"].startswith(f"{sign_in}?"):
            response["Location"] = f"{sign_in}?{urlencode({'next': _came_from(request)})}"
        return response


def _came_from(request: HttpRequest) -> str:
    """The page of ours that a form was sent from, by what the browser says; else the first page."""
    try:
        said = urlsplit(request.headers.get("Referer", ""))
    except ValueError:  # no address at all
        said = urlsplit("")
    here = said.netloc == request.get_host() and said.path
    return said.path if here else resolve_url(settings.LOGIN_REDIRECT_URL)


def _htmx(request: HttpRequest) -> HtmxDetails | None:
    htmx = getattr(request, "htmx", None)
    return htmx if htmx else None
