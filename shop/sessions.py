"""Sessions as requests meet them: where somebody is signed in is kept, what was ended ends, and who needs a second
factor comes no further before it is set up."""

import datetime as dt
from collections.abc import Callable
from ipaddress import ip_network
from typing import Any

from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY, logout
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django_htmx.http import HttpResponseClientRedirect

from shop.http import sender_address
from shop.models import SignedIn, User
from shop.second_factor import needed_by
from shop.services.second_factor import has_second_factor
from shop.services.sessions import key_hash, session_begin, session_closed, session_seen, sessions_tidy

GetResponse = Callable[[HttpRequest], HttpResponse]
SEEN_EVERY = dt.timedelta(minutes=5)
PASSED = "second_factor_passed"
"""In a session: a code of the second factor was given when it began, or the second factor was set up in it."""
SET_UP = "shop:second-factor"
BEFORE_SET_UP = frozenset({SET_UP, "shop:sign-out"})


class SignedInMiddleware:
    """Reads the person together with the row of their session, so that a request costs no query more than without, and
    writes every five minutes."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # By the cookie: a page for everybody does not come to depend on who asks.
        if settings.SESSION_COOKIE_NAME in request.COOKIES and SESSION_KEY in request.session:
            _keep(request)
        return self.get_response(request)


def _keep(request: HttpRequest) -> None:
    key = key_hash(request.session.session_key or "")
    row = SignedIn.objects.select_related("user").filter(key=key).first()
    if row is not None and row.ended_at is not None:
        logout(request)
        return
    if row is not None and _is_of(request, row.user):
        request.user = row.user
    elif not isinstance(request.user, User):  # Django's own look at the session found nobody
        return
    if row is None:  # signed in before this was kept
        _begin(request, request.user)
    elif timezone.now() - row.seen_at > SEEN_EVERY:
        session_seen(row=row)


def _is_of(request: HttpRequest, user: User) -> bool:
    """What Django asks of a session before it believes it: a way of signing in that still counts, the person, active,
    and the password of then."""
    session = request.session
    return (
        session.get(BACKEND_SESSION_KEY) in settings.AUTHENTICATION_BACKENDS
        and session.get(SESSION_KEY) == str(user.pk)
        and user.is_active
        and constant_time_compare(session.get(HASH_SESSION_KEY, ""), user.get_session_auth_hash())
    )


class SecondFactorMiddleware:
    """Who needs a second factor and has none is led to set it up, wherever they want to go."""

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, *_rest: object) -> HttpResponse | None:
        if not getattr(view, "login_required", True) or not isinstance(request.user, User):
            return None
        match = request.resolver_match
        if not needed_by(request.user) or request.session.get(PASSED) or (match and match.view_name in BEFORE_SET_UP):
            return None
        at = resolve_url(SET_UP)
        if has_second_factor(request.user):  # a session from before it was set up: it never gave a code
            logout(request)
            at = resolve_url(settings.LOGIN_URL)
        return HttpResponseClientRedirect(at) if getattr(request, "htmx", False) else redirect(at)


def _begin(request: HttpRequest, user: User) -> None:
    if not request.session.session_key:  # somebody else's was thrown away for this one: its key comes with the answer
        request.session.create()
    key, agent = request.session.session_key or "", request.headers.get("User-Agent", "")
    session_begin(user=user, session_key=key, agent=agent, address=_address(request))


def _address(request: HttpRequest) -> str | None:
    """Where the request comes from; of IPv6 the first address of the line; None for a socket without one."""
    try:
        return str(ip_network(sender_address(request), strict=False).network_address)
    except ValueError:
        return None


def _signed_in(request: HttpRequest, user: User, **_more: object) -> None:
    _begin(request, user)
    sessions_tidy()  # here, since not every shop runs something by the clock


def _signed_out(request: HttpRequest, **_more: object) -> None:
    if request.session.session_key:
        session_closed(session_key=request.session.session_key)


def connect() -> None:
    """Called once the models are there."""
    user_logged_in.connect(_signed_in, dispatch_uid="shop.sessions")
    user_logged_out.connect(_signed_out, dispatch_uid="shop.sessions")
