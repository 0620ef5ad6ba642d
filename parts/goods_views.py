"""Goods in by camera, hand scanner or typing, one part after the other; and barcodes that nobody knows yet."""

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from parts import services
from parts.models import Movement, MovementKind, Part
from parts.selectors.scan import part_scanned
from parts.selectors.standing import standings
from parts.shelf_forms import AttachForm, GoodsForm
from parts.shelf_views import goods_taken_in
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.permissions import needs
from shop.views.common import number_of

JUST_NOW = 8
"""Receipts of today that the page shows again."""


@require_http_methods(["GET", "POST"])
@needs("shelf.write")
def goods_in(request: ShopRequest) -> HttpResponse:
    """?code= finds the part; what came of it is booked by POST, and the next one is scanned."""
    code = (request.POST if request.method == "POST" else request.GET).get("code", "")
    part = part_scanned(code)
    if part is None:
        return _goods_page(request, code, 422 if request.method == "POST" else 200)
    standing = standings([part])[part.pk]
    form = GoodsForm(request.POST or None, part=part, coming=standing.coming)
    context = {"part": part, "standing": standing, "form": form}
    if request.method == "GET" or not form.is_valid():
        return _goods_page(request, code, 422 if request.method == "POST" else 200, **context)
    try:
        said = goods_taken_in(part, request.user, form.cleaned_data)
    except ShopError as error:
        form.add_error(None, error.words)
        return _goods_page(request, code, error.status, **context)
    where = _("It goes to {place}.").format(place=part.place) if part.place else ""
    messages.success(request, f"{said} {where}".strip())
    return redirect("parts:goods-in")


@require_http_methods(["GET", "POST"])
@needs("part.write")
def barcode(request: ShopRequest) -> HttpResponse:
    """Say which part a barcode is on. `then`: what went on when it was scanned, goods-in or a count's key."""
    asked = request.POST if request.method == "POST" else request.GET
    code, then = asked.get("barcode", ""), asked.get("then", "")
    form = AttachForm(request.POST if request.method == "POST" else None, initial={"barcode": code})
    context = {"form": form, "then": then}
    if request.method == "GET" or not form.is_valid():
        return render(request, "parts/barcode.html", context, status=422 if request.method == "POST" else 200)
    part: Part = form.cleaned_data["part"]
    try:
        row = services.barcode_add(part=part, by=request.user, barcode=form.cleaned_data["barcode"])
    except ShopError as error:
        form.add_error(None, error.words)
        return render(request, "parts/barcode.html", context, status=error.status)
    messages.success(request, _("Barcode {barcode} names {part}.").format(barcode=row.barcode, part=part.number))
    return redirect(_on(then, part))


def _on(then: str, part: Part) -> str:
    """Where the person was going with this part."""
    if then == "goods-in":
        return f"{reverse('parts:goods-in')}?{urlencode({'code': part.number})}"
    if number_of(then):
        return f"{reverse('parts:count', args=[number_of(then)])}?{urlencode({'code': part.number})}"
    return reverse("parts:part", args=[part.number])


def _goods_page(request: ShopRequest, code: str, status: int, **context: Any) -> HttpResponse:
    today = timezone.localdate()
    booked = Movement.objects.filter(kind=MovementKind.RECEIVED, by=request.user, undone_by=None, at__date=today)
    booked = booked.select_related("part", "lot").order_by("-at", "-pk")[:JUST_NOW]
    return render(request, "parts/goods_in.html", {"code": code, "booked": booked, **context}, status=status)
