"""Top systems as declared: a list, and one with its positions, pins and motions."""

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from diagnostics.models import SystemRevision
from diagnostics.selectors import newest_revisions, system_of
from shop.http import ShopRequest


@require_GET
def systems(request: ShopRequest) -> HttpResponse:
    """`?as=options`: the systems as options, for a form that asks for one."""
    part = "#options" if request.GET.get("as") == "options" else ""
    return render(request, f"diagnostics/systems.html{part}", {"revisions": newest_revisions().defer("text")})


@require_GET
def system(request: ShopRequest, slug: str) -> HttpResponse:
    """The newest revision, or `?revision=`. `?as=options`: its positions as options. `?as=fact`: its title alone, for
    the car file, or that nobody has declared it."""
    rows = SystemRevision.objects.filter(slug=slug).order_by("-revision")
    if request.GET.get("as") == "fact":
        return render(request, "diagnostics/system.html#fact", {"revision": rows.defer("text").first(), "slug": slug})
    asked = request.GET.get("revision", "")
    revision = (rows.filter(revision=int(asked)) if asked.isdecimal() and len(asked) < 6 else rows).first()
    if revision is None:
        words = _("No top system {slug} is declared here, or not in this revision.").format(slug=slug)
        return render(request, "shop/error.html", {"status": 404, "words": words}, status=404)
    part = "#options" if request.GET.get("as") == "options" else ""
    others = rows.values_list("revision", flat=True) if not part else ()
    context = {"revision": revision, "system": system_of(revision), "others": others}
    return render(request, f"diagnostics/system.html{part}", context)
