"""My account: password, second factor, and where I am signed in."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.views import PasswordChangeView
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse_lazy
from django.utils.decorators import method_decorator
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST, require_safe

from shop import second_factor as codes
from shop import services
from shop.errors import ShopError
from shop.hidden import hide, shown
from shop.http import ShopRequest
from shop.models import ShopProfile, SignedIn
from shop.people_forms import ChangePasswordForm, ConfirmForm, FreshCodeForm
from shop.selectors.people import recovery_codes_left, sessions_of
from shop.services.second_factor import has_second_factor
from shop.services.sessions import key_hash, session_moved
from shop.sessions import PASSED

SET_UP_SECONDS = 1800
"""How long a secret that was shown can be confirmed."""


@require_safe
@never_cache
def account(request: ShopRequest) -> HttpResponse:
    context = {
        "has_factor": has_second_factor(request.user),
        "needed": codes.needed_by(request.user),
        "codes_left": recovery_codes_left(request.user),
        "sessions": sessions_of(request.user),
        "this": key_hash(request.session.session_key or ""),
    }
    return render(request, "shop/account/account.html", context)


@method_decorator(sensitive_post_parameters(), name="dispatch")
class ChangePassword(PasswordChangeView):
    """Of one's own; every other sign-in ends."""

    template_name = "shop/account/password.html"
    form_class = ChangePasswordForm
    success_url = reverse_lazy("shop:account")

    def form_valid(self, form: Any) -> HttpResponse:
        earlier = self.request.session.session_key or ""
        form.except_key = earlier
        answer = super().form_valid(form)  # and Django gives this session another key
        session_moved(earlier_key=earlier, session_key=self.request.session.session_key or "")
        messages.success(self.request, _("Your new password counts from now on. All other sign-ins were ended."))
        return answer

    def form_invalid(self, form: Any) -> HttpResponse:
        return self.render_to_response(self.get_context_data(form=form), status=422)


@never_cache
def second_factor(request: ShopRequest) -> HttpResponse:
    """GET: set it up, or what is to be done with the one that is there. POST: the first code of the one just shown."""
    if has_second_factor(request.user):
        return _there(request, FreshCodeForm())
    if request.method != "POST":
        return _set_up(request, codes.new_secret(), None)
    form = ConfirmForm(request.POST)
    typed = request.POST.get("hidden", "")
    owner, _colon, secret = (shown(typed, at_most_seconds=SET_UP_SECONDS) or "").partition(":")
    if owner != str(request.user.pk):
        messages.info(request, _("That page was open too long: here is a new secret, add it to the app instead."))
        return redirect("shop:second-factor")
    if not form.is_valid():
        return _set_up(request, secret, form, 422)
    try:
        made = services.second_factor_set_up(user=request.user, secret=secret, code=form.cleaned_data["code"])
    except ShopError as error:
        form.add_error("code", error.words)
        return _set_up(request, secret, form, error.status)
    request.session[PASSED] = True
    services.sessions_end_others(user=request.user, session_key=request.session.session_key or "")
    return _codes_page(request, made)


def _set_up(request: ShopRequest, secret: str, form: ConfirmForm | None, status: int = 200) -> HttpResponse:
    """The secret goes into the form hidden, for this person alone: nothing is kept before a code has shown that the
    telephone has it."""
    profile = ShopProfile.objects.first()
    uri = codes.otpauth_uri(secret, request.user.username, profile.name if profile else "Topwright")
    context = {
        "form": form or ConfirmForm(initial={"hidden": hide(f"{request.user.pk}:{secret}")}),
        "qr": mark_safe(codes.qr_svg(uri)),  # noqa: S308 - drawn by us: paths, and one title of ours
        "secret": codes.in_fours(secret),
        "needed": codes.needed_by(request.user),
    }
    return render(request, "shop/account/set_up.html", context, status=status)


def _there(request: ShopRequest, form: FreshCodeForm, status: int = 200) -> HttpResponse:
    context = {"form": form, "codes_left": recovery_codes_left(request.user), "needed": codes.needed_by(request.user)}
    return render(request, "shop/account/second_factor.html", context, status=status)


def _codes_page(request: ShopRequest, made: list[str]) -> HttpResponse:
    return render(request, "shop/account/codes.html", {"codes": made})


@require_POST
@never_cache
def second_factor_act(request: ShopRequest) -> HttpResponse:
    """`act`: codes (new recovery codes) or remove, each with a code that counts."""
    if not has_second_factor(request.user):
        return redirect("shop:second-factor")
    form = FreshCodeForm(request.POST)
    if not form.is_valid():
        return _there(request, form, 422)
    code = form.cleaned_data["code"]
    try:
        if request.POST.get("act") == "remove":
            services.second_factor_remove(user=request.user, code=code)
        else:
            return _codes_page(request, services.recovery_codes_renew(user=request.user, code=code))
    except ShopError as error:
        form.add_error("code", error.words)
        return _there(request, form, error.status)
    request.session.pop(PASSED, None)
    messages.success(request, _("Your second factor is taken away."))
    return redirect("shop:second-factor" if codes.needed_by(request.user) else "shop:account")


@require_POST
def session_end(request: ShopRequest, pk: int) -> HttpResponse:
    row = get_object_or_404(SignedIn.objects.select_related("user"), pk=pk)
    services.session_end(row=row, by=request.user)
    messages.success(request, _("That sign-in is ended."))
    return redirect("shop:account") if row.user_id == request.user.pk else redirect("shop:person", row.user_id)


@require_POST
def sessions_end_others(request: ShopRequest) -> HttpResponse:
    services.sessions_end_others(user=request.user, session_key=request.session.session_key or "")
    messages.success(request, _("You are signed in here alone."))
    return redirect("shop:account")
