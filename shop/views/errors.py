"""Error pages: one clear sentence and a way on."""

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils.translation import gettext as _


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    if isinstance(exception, RequestDataTooBig):
        limit = settings.DATA_UPLOAD_MAX_MEMORY_SIZE // (1024 * 1024)
        words = _("That is too much text; expected at most {limit} MB. Go back, shorten it and send it again.")
        return _error(request, 413, words.format(limit=limit))
    return _error(request, 400, _("The shop’s computer could not make sense of this request."))


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    return _error(request, 403, _("Your role does not allow this. Ask the owner of the shop."))


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return _error(request, 404, _("There is nothing at this address: it is mistyped, or what stood here is gone."))


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    return _error(
        request,
        403,
        _("This page was open too long or came from elsewhere. Go back, load it again and send it once more."),
    )


def server_error(request: HttpRequest) -> HttpResponse:
    """Drawn without request and database: either may be what failed."""
    return HttpResponse(render_to_string("shop/error_plain.html"), status=500)


def _error(request: HttpRequest, status: int, words: str) -> HttpResponse:
    return render(request, "shop/error.html", {"status": status, "words": words}, status=status)
