"""The request as every signed-in view gets it, and where a request comes from."""

from collections.abc import Callable
from ipaddress import ip_address, ip_network
from typing import Any, TypeVar

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django_htmx.middleware import HtmxDetails

from shop.models import User

View = TypeVar("View", bound=Callable[..., Any])
ONE_LINE = 64
"""Leading bits of an IPv6 address that one line gets: whoever has it can use any address below."""


class ShopRequest(HttpRequest):
    user: User
    htmx: HtmxDetails


def sender_address(request: HttpRequest) -> str:
    """The address that a request comes from, of IPv6 the network of the line.

    Behind PROXIES proxies of ours it is what the outermost of them saw, counted from the right: whatever a sender
    writes into the header stands further left.
    """
    address = str(request.META.get("REMOTE_ADDR", ""))
    if settings.PROXIES:
        seen = request.headers.get("X-Forwarded-For", "").split(",")
        address = seen[-settings.PROXIES].strip() if len(seen) >= settings.PROXIES else address
    try:
        found = ip_address(address)
    except ValueError:  # a socket without an address
        return address
    if found.version == 4:
        return str(found)
    return str(found.ipv4_mapped or ip_network((found, ONE_LINE), strict=False))


def takes_bytes(most: int) -> Callable[[View], View]:
    """For a view that takes a larger file than the pictures' most (shop.middleware.BodySizeMiddleware reads it)."""

    def mark(view: View) -> View:
        setattr(view, "takes_bytes", most)  # noqa: B010 - a function has no such attribute by its type
        return view

    return mark


def absolute(request: HttpRequest, path: str) -> str:
    """The whole address of a page of ours, as it goes into a mail; https where HTTPS says that a proxy speaks it."""
    secure = settings.SESSION_COOKIE_SECURE or request.is_secure()
    return f"{'https' if secure else 'http'}://{request.get_host()}{path}"


def paper_shown(pdf: bytes, name: str) -> HttpResponse:
    """A PDF of file `name`, shown in the browser, which prints it; never kept by anybody in between."""
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}"'
    response["Cache-Control"] = "private, no-store"
    return response


def no_path_told(response: HttpResponse) -> HttpResponse:
    """For a page with a secret in its address: no other page learns the path. With no-referrer a browser would also
    hide where a form comes from, and Django refuse the form."""
    response["Referrer-Policy"] = "strict-origin"
    return response
