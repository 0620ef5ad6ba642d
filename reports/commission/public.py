"""What an outside buyer sees without a sign-in: the form of a commission, and behind a private link how far it is."""

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from reports.commission import services
from reports.commission.forms import CommissionForm, count_sending
from reports.commission.models import Commission
from reports.commission.selectors import certificate_of, followed, link_of, terms_shown
from reports.document.draw.inspection import plan_words
from reports.document.draw.states import STATEMENTS, WEIGHTS, statement_words, weight_words
from reports.models import CertificateState
from reports.views import TAGS, pdf_of
from shop import limits
from shop.errors import Conflict, ShopError
from shop.http import no_path_told, sender_address
from shop.models import ShopProfile

GUESSES_AN_HOUR = 30


@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def commission(request: HttpRequest) -> HttpResponse:
    """GET: the form, with fee and terms. POST keeps it and goes on to its private link."""
    if request.method != "POST":
        return _form(request, CommissionForm())
    form = CommissionForm(request.POST)
    if not form.is_valid():
        return _form(request, form, 422)
    try:
        count_sending(request, form.cleaned_data["email"])
        _made, token = services.commission_send(wanted=form.sent(), terms=form.cleaned_data["terms"])
    except ShopError as error:
        form.add_error(None, error.words)
        if isinstance(error, Conflict):  # other terms than those that were accepted
            form.data = {name: value for name, value in form.data.items() if name != "accepted"}
        return _form(request, form, error.status)
    return no_path_told(redirect("reports:commission-follow", token))


def _form(request: HttpRequest, form: CommissionForm, status: int = 200) -> HttpResponse:
    shop = ShopProfile.objects.first()
    context = {"form": form, "the_shop": shop, "terms": terms_shown(shop)}
    return render(request, "reports/commission/commission.html", context, status=status)


@login_not_required
@never_cache
@require_safe
def follow(request: HttpRequest, token: str) -> HttpResponse:
    """Shows and never writes: programs follow the links of mails."""
    found = _behind(request, token)
    return found if isinstance(found, HttpResponse) else _page(request, found, token)


@login_not_required
@never_cache
@require_safe
def file(request: HttpRequest, token: str) -> HttpResponse:
    """The certificate of this link's commission, as long as it stands."""
    found = _behind(request, token)
    if isinstance(found, HttpResponse):
        return found
    certificate = certificate_of(found)
    if certificate is None or certificate.state != CertificateState.ISSUED:
        return _refused(request, 404, _("There is no certificate behind this link yet, or it counts no more."))
    return no_path_told(pdf_of(certificate))


@login_not_required
@never_cache
@require_POST
def withdraw(request: HttpRequest, token: str) -> HttpResponse:
    """Asks once more; with `sure` it is withdrawn."""
    found = _behind(request, token)
    if isinstance(found, HttpResponse):
        return found
    if "sure" not in request.POST:
        return _page(request, found, token, sure=True)
    try:
        services.commission_withdraw(commission=found)
    except ShopError as error:
        return _refused(request, error.status, error.words)
    return no_path_told(redirect("reports:commission-follow", token))


def _behind(request: HttpRequest, token: str) -> Commission | HttpResponse:
    """The commission of a link that is good, or the page that says why it is not."""
    link = link_of(token)
    if link is None:
        words = _("Too much was asked for from your address within an hour. Try again later.")
        limits.count("commission-guess", sender_address(request), most=GUESSES_AN_HOUR, words=words)
        return _refused(request, 404, _("This link opens nothing. Ask the shop for a new one."))
    if link.commission.erased_at is not None:
        return _refused(request, 410, _("What was behind this link is erased, as its buyer asked."))
    if link.revoked_at is not None:
        return _refused(request, 410, _("The shop has closed this link. Ask the shop for a new one."))
    if link.expires_at <= timezone.now():
        return _refused(request, 410, _("This link has run out. Ask the shop for a new one."))
    return link.commission


def _refused(request: HttpRequest, status: int, words: str) -> HttpResponse:
    context = {"status": status, "words": words, "the_shop": ShopProfile.objects.first()}
    return no_path_told(render(request, "reports/commission/refused.html", context, status=status))


def _page(request: HttpRequest, found: Commission, token: str, *, sure: bool = False) -> HttpResponse:
    seen = followed(found)
    context: dict[str, Any] = {
        "commission": found,
        "seen": seen,
        "token": token,
        "sure": sure,
        "the_shop": ShopProfile.objects.first(),
    }
    if seen.content is not None:
        statement, found_then = seen.content.overall.statement, seen.content.results.findings
        context["statement"], context["statement_shape"] = statement_words(statement), TAGS[STATEMENTS[statement][0]]
        context["plan_words"] = plan_words(seen.content.results.plan) if seen.content.results.plan else ""
        context["findings"] = [(TAGS[WEIGHTS[one.weight][0]], weight_words(one.weight), one) for one in found_then]
    return no_path_told(render(request, "reports/commission/follow.html", context))
