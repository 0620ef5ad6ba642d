"""The estimate as the customer sees it, behind a private link and without a sign-in."""

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from shop import limits, services
from shop.errors import ShopError
from shop.estimate_forms import AnswerForm
from shop.estimates import line_text
from shop.http import no_path_told, sender_address
from shop.models import Answer, EstimateVersion, ShopProfile
from shop.selectors.estimates import shown, versions_with_lines
from shop.services.people import token_hash

ANSWERS_AN_HOUR, GUESSES_AN_HOUR = 60, 30


@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def public(request: HttpRequest, token: str) -> HttpResponse:
    """GET shows and never writes: programs follow the links of mails. A POST asks once more; with `sure` it is kept."""
    rows = versions_with_lines().select_related("estimate__job__car")
    version = rows.filter(token_hash=token_hash(token)).first()
    if version is None:
        words = _("Too much was asked for from your address within an hour. Try again later.")
        limits.count("estimate-guess", sender_address(request), most=GUESSES_AN_HOUR, words=words)
        words = _("This link opens nothing. Ask the shop for a new one.")
        return no_path_told(render(request, "shop/error.html", {"status": 404, "words": words}, status=404))
    waiting = [line for line in version.lines.all() if not hasattr(line, "answer")]
    if request.method != "POST":
        return _page(request, version, AnswerForm(lines=waiting))
    form = AnswerForm(request.POST, lines=list(version.lines.all()))
    if not form.is_valid():
        return _page(request, version, form, 422)
    try:
        words = _("Too many answers came from your address within an hour. Try again later, or call us.")
        limits.count("estimate", sender_address(request), most=ANSWERS_AN_HOUR, words=words)
        if "sure" in request.POST or not form.answers():
            services.answers_keep(version=version, answers=form.answers(), name=form.cleaned_data["name"])
            return no_path_told(redirect("shop:estimate-public", token))
    except ShopError as error:
        form.add_error(None, error.words)
        return _page(request, EstimateVersion.objects.get(pk=version.pk), form, error.status)
    return _page(request, version, form, sure=_sentences(version, form))


def _sentences(version: EstimateVersion, form: AnswerForm) -> list[tuple[str, Any, str]]:
    """Answer, its word and the line's text, of every line that is answered."""
    given = form.answers()
    return [
        (given[line.pk], Answer(given[line.pk]).label, line_text(version, line))
        for line in form.lines
        if line.pk in given
    ]


def _page(
    request: HttpRequest, version: EstimateVersion, form: AnswerForm, status: int = 200, sure: Any = None
) -> HttpResponse:
    found = shown(versions_with_lines().select_related("estimate__job__car").get(pk=version.pk))
    over = found.version.expires_at is not None and found.version.expires_at <= timezone.now()
    context = {
        "version": found.version,
        "found": found,
        "form": form,
        "rows": [(line_text(version, line), field) for line, field in form.rows() if not hasattr(line, "answer")],
        "sure": sure,
        "over": over,
        "the_shop": ShopProfile.objects.first(),
    }
    return no_path_told(render(request, "shop/estimates/public.html", context, status=status))
