"""How sure each check is, for the parts that a top system has."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from diagnostics.engine.rates import rates
from diagnostics.models import SystemRevision
from diagnostics.selectors import system_of
from shop.http import ShopRequest


@require_GET
def system_rates(request: ShopRequest, slug: str) -> HttpResponse:
    """Of the newest revision."""
    revision = SystemRevision.objects.filter(slug=slug).order_by("-revision").first()
    if revision is None:
        words = _("No top system {slug} is declared here.").format(slug=slug)
        return render(request, "shop/error.html", {"status": 404, "words": words}, status=404)
    return render(request, "diagnostics/rates.html", {"revision": revision, "checks": rates(system_of(revision))})
