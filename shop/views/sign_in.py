"""Signing in, in one step or two, signing out, joining by an invitation, and a forgotten password."""

from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView, LogoutView, PasswordResetConfirmView, PasswordResetView
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render, resolve_url
from django.urls import reverse_lazy
from django.utils import timezone
from django.utils.crypto import constant_time_compare
from django.utils.decorators import method_decorator
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from shop import services
from shop.errors import Conflict, ShopError
from shop.http import no_path_told, sender_address
from shop.limits import count
from shop.models import User
from shop.people_forms import CodeForm, ForgottenForm, JoinForm
from shop.selectors.people import invitation_behind
from shop.services.second_factor import has_second_factor
from shop.sessions import PASSED

HALF = "half_signed_in"
HALF_SECONDS = 600
PASSWORDS = "django.contrib.auth.backends.ModelBackend"
JOINS_AN_HOUR, MAILS_AN_HOUR = 30, 10


class SignIn(LoginView):
    """Name and password. Whoever has a second factor is not signed in by that: only the page for the code opens."""

    template_name = "shop/sign_in.html"
    redirect_authenticated_user = True

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        user = form.get_user()
        if not isinstance(user, User) or not has_second_factor(user):
            return super().form_valid(form)
        self.request.session.cycle_key()
        until = timezone.now().timestamp() + HALF_SECONDS
        self.request.session[HALF] = {"user": user.pk, "hash": user.get_session_auth_hash(), "until": until}
        after = self.get_redirect_url()
        at = resolve_url("shop:sign-in-code")
        return redirect(f"{at}?{urlencode({self.redirect_field_name: after})}" if after else at)

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


@method_decorator(login_not_required, name="dispatch")
class SignInCode(LoginView):
    """The code of the second factor, for ten minutes after the password was right."""

    template_name = "shop/account/code.html"
    redirect_authenticated_user = True

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not request.user.is_authenticated and _half_signed_in(request) is None:
            request.session.pop(HALF, None)
            messages.info(request, _("Sign in with your password first; the page for the code is open ten minutes."))
            return redirect("shop:sign-in")
        return super().dispatch(request, *args, **kwargs)

    def get_form(self, form_class: Any = None) -> Any:
        user = _half_signed_in(self.request)
        assert user is not None  # noqa: S101 - dispatch has asked
        return CodeForm(self.request, user, self.request.POST if self.request.method == "POST" else None)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        form = self.get_form()
        try:
            return self.form_valid(form) if form.is_valid() else self.form_invalid(form)
        except ShopError as error:  # too many tries, or a secret that cannot be read
            form.add_error(None, error.words)
            return self.render_to_response(self.get_context_data(form=form), status=error.status)

    def form_valid(self, form: Any) -> HttpResponse:
        self.request.session.pop(HALF, None)
        login(self.request, form.found)
        self.request.session[PASSED] = True
        return redirect(self.get_success_url())

    def form_invalid(self, form: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


def _half_signed_in(request: HttpRequest) -> User | None:
    """Whose password was right a moment ago; None once the time is over, the password changed or the person left."""
    half = request.session.get(HALF)
    if half is None or half["until"] < timezone.now().timestamp():
        return None
    user = User.objects.filter(pk=half["user"], is_active=True).first()
    same = user is not None and constant_time_compare(half["hash"], user.get_session_auth_hash())
    return user if same else None


class SignOut(LogoutView):
    """By POST only, as Django has it."""


@login_not_required
@never_cache
@sensitive_post_parameters()
def join(request: HttpRequest, token: str) -> HttpResponse:
    """Behind an invitation's address: choose how to sign in. One that is good no more looks like one that never was."""
    words = _("Too much was tried from your address within an hour. Try again later.")
    invitation = invitation_behind(token)
    if request.method == "POST" or invitation is None:
        count("join", sender_address(request), most=JOINS_AN_HOUR, words=words)
    if invitation is None:
        return _no_invitation(request)
    # The validators compare the password with what is known of the person.
    form = JoinForm(request.POST or None, instance=User(first_name=invitation.name, email=invitation.email))
    if request.method == "POST" and form.is_valid():
        chosen = {"username": form.cleaned_data["username"], "password": form.cleaned_data["password1"]}
        try:
            user = services.invitation_accept(invitation=invitation, **chosen)
        except Conflict as error:
            if invitation_behind(token) is None:  # used in another tab meanwhile
                return _no_invitation(request)
            form.add_error("username", error.words)
        else:
            login(request, user, backend=PASSWORDS)
            messages.success(request, _("Welcome, {name}.").format(name=user))
            return redirect(settings.LOGIN_REDIRECT_URL)
    context = {"form": form, "invitation": invitation}
    return no_path_told(render(request, "shop/people/join.html", context, status=422 if form.errors else 200))


def _no_invitation(request: HttpRequest) -> HttpResponse:
    words = _("This invitation opens nothing: it was used, has run out or was replaced. Ask the owner for a new one.")
    return render(request, "shop/error.html", {"status": 404, "words": words}, status=404)


class Forgotten(PasswordResetView):
    """A mail with a link, where somebody has this address; the answer is the same where nobody has."""

    template_name = "shop/account/forgotten.html"
    email_template_name = "shop/account/forgotten_mail.txt"
    subject_template_name = "shop/account/forgotten_subject.txt"
    success_url = reverse_lazy("shop:sign-in")

    def form_valid(self, form: Any) -> HttpResponse:
        words = _("Too many mails were asked for from your address within an hour. Try again later.")
        count("forgotten", sender_address(self.request), most=MAILS_AN_HOUR, words=words)
        self.extra_email_context = {
            "protocol": "https" if settings.SESSION_COOKIE_SECURE or self.request.is_secure() else "http"
        }
        messages.info(self.request, _("If somebody here has this address, a mail with a link is on its way to it."))
        return super().form_valid(form)

    def form_invalid(self, form: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


@method_decorator(sensitive_post_parameters(), name="dispatch")
class NewPassword(PasswordResetConfirmView):
    """Behind the link of the mail."""

    template_name = "shop/account/new_password.html"
    form_class = ForgottenForm
    success_url = reverse_lazy("shop:sign-in")

    def render_to_response(self, context: Any, **more: Any) -> HttpResponse:
        return super().render_to_response(context, **(more if self.validlink else {**more, "status": 404}))

    def form_valid(self, form: Any) -> HttpResponse:
        messages.success(self.request, _("Your new password counts from now on."))
        return super().form_valid(form)

    def form_invalid(self, form: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)
