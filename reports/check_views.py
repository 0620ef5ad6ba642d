"""The public check of a certificate, without a sign-in: never a name, and of the VIN its end only."""

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods

from reports.checking import FILE_BYTES, Checked, State, check_number, check_upload, number_typed
from reports.document.schema import PATH as SCHEMA
from reports.models import SigningRoot
from reports.selectors import language_name
from shop import limits
from shop.errors import ShopError
from shop.http import sender_address, takes_bytes
from shop.models import ShopProfile

FILES_AN_HOUR, WRONG_AN_HOUR = 60, 30
_TAGS = {
    State.VALID: "ok",
    State.ALTERED: "refused",
    State.WITHDRAWN: "refused",
    State.REPLACED: "gone",
    State.UNKNOWN: "open",
}


@takes_bytes(FILE_BYTES)
@login_not_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def check(request: HttpRequest) -> HttpResponse:
    """GET: the form; with `?number=` on to that number's own address. POST: a file."""
    if request.method == "POST":
        return _of_file(request)
    typed = request.GET.get("number", "").strip()
    if not typed:
        return _page(request)
    if number := number_typed(typed):
        return redirect("reports:check-number", number)
    return _of_number(request, typed)


@login_not_required
@never_cache
@require_GET
def number(request: HttpRequest, number: str) -> HttpResponse:
    """The address in the code on each certificate."""
    return _of_number(request, number)


@login_not_required
@require_GET
def root(request: HttpRequest) -> HttpResponse:
    """The root certificate under which the shop signs now, as a file that a PDF reader can be given."""
    found = SigningRoot.objects.first()
    if found is None:
        raise Http404
    response = HttpResponse(found.pem, content_type="application/x-pem-file")
    response["Content-Disposition"] = 'attachment; filename="topwright-root.pem"'
    return response


@login_not_required
@require_GET
def schema(request: HttpRequest) -> HttpResponse:
    """The JSON Schema of the data in a certificate."""
    return HttpResponse(SCHEMA.read_bytes(), content_type="application/schema+json")


def _of_number(request: HttpRequest, typed: str) -> HttpResponse:
    checked = check_number(typed)
    if checked.state != State.UNKNOWN:
        return _page(request, checked)
    words = _("Too many wrong numbers came from your address within an hour. Try again later.")
    limits.count("check-number", sender_address(request), most=WRONG_AN_HOUR, words=words)
    return _page(request, checked, status=404, typed=typed[:40])


def _of_file(request: HttpRequest) -> HttpResponse:
    words = _("Too many files came from your address within an hour. Try again later, or check by the number.")
    limits.count("check-file", sender_address(request), most=FILES_AN_HOUR, words=words)
    file = request.FILES.get("file")
    if file is None:
        return _page(request, status=422, problem=_("Choose the certificate’s file first."))
    try:
        return _page(request, check_upload(file, file.size or 0), of_file=True)
    except ShopError as error:
        return _page(request, status=error.status, problem=error.words)


def _page(request: HttpRequest, checked: Checked | None = None, status: int = 200, **context: Any) -> HttpResponse:
    context |= {
        "checked": checked,
        "certificate": checked.certificate if checked else None,
        "language": language_name(checked.language) if checked else "",
        "tag": _TAGS[checked.state] if checked else "",
        "state": _state_words(checked.state) if checked else "",
        "root": (checked.certificate.root if checked and checked.certificate else None) or SigningRoot.objects.first(),
        "the_shop": ShopProfile.objects.first(),
        "megabytes": FILE_BYTES // (1024 * 1024),
    }
    return render(request, "reports/check.html", context, status=status)


def _state_words(state: State) -> str:
    return {
        State.VALID: _("Valid"),
        State.ALTERED: _("Altered"),
        State.WITHDRAWN: _("Withdrawn"),
        State.REPLACED: _("Replaced"),
        State.UNKNOWN: _("Unknown"),
    }[state]
