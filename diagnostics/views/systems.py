"""Top systems as declared: a list, one with its positions, pins and motions, and its revisions over time."""

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from diagnostics.models import SystemRevision
from diagnostics.selectors import newest_revisions, revision_asked, system_of
from diagnostics.selectors.drafts import drafts, history_of
from shop.http import ShopRequest
from shop.permissions import may


@require_GET
def systems(request: ShopRequest) -> HttpResponse:
    """`?as=options`: the systems as options, for a form that asks for one."""
    part = "#options" if request.GET.get("as") == "options" else ""
    context: dict[str, Any] = {"revisions": newest_revisions().defer("text")}
    if not part and may(request.user, "system.draft"):
        context["drafts"] = drafts()
    return render(request, f"diagnostics/systems.html{part}", context)


@require_GET
def system(request: ShopRequest, slug: str) -> HttpResponse:
    """The newest revision, or `?revision=`. `?as=options`: its positions as options. `?as=fact`: its title alone, for
    the car file, or that nobody has declared it."""
    rows = SystemRevision.objects.filter(slug=slug).order_by("-revision")
    if request.GET.get("as") == "fact":
        return render(request, "diagnostics/system.html#fact", {"revision": rows.defer("text").first(), "slug": slug})
    revision = revision_asked(slug, request.GET.get("revision", ""))
    if revision is None:
        words = _("No top system {slug} is declared here, or not in this revision.").format(slug=slug)
        return render(request, "shop/error.html", {"status": 404, "words": words}, status=404)
    part = "#options" if request.GET.get("as") == "options" else ""
    others = rows.values_list("revision", flat=True) if not part else ()
    asked = revision.revision if "revision" in request.GET else ""
    context = {"revision": revision, "system": system_of(revision), "others": others, "asked": asked}
    return render(request, f"diagnostics/system.html{part}", context)


@require_GET
def system_history(request: ShopRequest, slug: str) -> HttpResponse:
    """Every revision with who published it, why, and what it changed."""
    published, older = history_of(slug)
    if not published:
        words = _("No top system {slug} is declared here.").format(slug=slug)
        return render(request, "shop/error.html", {"status": 404, "words": words}, status=404)
    context = {"slug": slug, "title": published[0].revision.title, "published": published, "older": older}
    return render(request, "diagnostics/systems/history.html", context)


@require_GET
def system_file(request: ShopRequest, slug: str) -> HttpResponse:
    """The file of the newest revision, or of `?revision=`, byte for byte as published."""
    revision = revision_asked(slug, request.GET.get("revision", ""))
    if revision is None:
        words = _("No top system {slug} is declared here, or not in this revision.").format(slug=slug)
        return render(request, "shop/error.html", {"status": 404, "words": words}, status=404)
    answer = HttpResponse(revision.text.encode(), content_type="application/yaml")
    answer["Content-Disposition"] = f'attachment; filename="{revision.slug}-{revision.revision}.yaml"'
    return answer
