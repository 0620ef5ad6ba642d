"""Suppliers, and what they offer a part for."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST
from django.views.decorators.vary import vary_on_headers

from parts import services
from parts.models import Offer, Part, Supplier
from parts.order_forms import OfferForm, SupplierForm, offer_facts
from parts.selectors import orders as reads
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.models import ShopProfile
from shop.permissions import require

OFFERS = 100
"""Of a supplier's offers, as many as its page shows."""


def suppliers(request: ShopRequest) -> HttpResponse:
    """Everybody who delivers, and how fast; POST takes one in."""
    if request.method != "POST":
        return _suppliers(request, SupplierForm())
    require(request.user, "order.write")
    form = SupplierForm(request.POST)
    if form.is_valid():
        try:
            made = services.supplier_set(by=request.user, **form.cleaned_data)
        except ShopError as error:
            form.add_error(None, error.words)
            return _suppliers(request, form, error.status)
        messages.success(request, _("{supplier} is taken in.").format(supplier=made))
        return redirect("parts:supplier", made.pk)
    return _suppliers(request, form, 422)


def supplier(request: ShopRequest, pk: int) -> HttpResponse:
    """One supplier; POST changes what is known of it."""
    found = get_object_or_404(Supplier, pk=pk)
    if request.method != "POST":
        return _supplier(request, found, SupplierForm(initial=_facts(found)))
    require(request.user, "order.write")
    form = SupplierForm(request.POST)
    if form.is_valid():
        try:
            services.supplier_set(by=request.user, supplier=found, **form.cleaned_data)
        except ShopError as error:
            form.add_error(None, error.words)
            return _supplier(request, get_object_or_404(Supplier, pk=pk), form, error.status)
        messages.success(request, _("{supplier} is changed.").format(supplier=found))
        return redirect("parts:supplier", pk)
    return _supplier(request, found, form, 422)


@vary_on_headers("HX-Request")
def part_offers(request: ShopRequest, pk: int) -> HttpResponse:
    """Who offers the part and for how much: a fragment of its page, and a page of its own; POST adds an offer or
    changes that of its supplier."""
    part = get_object_or_404(Part, pk=pk)
    if request.method != "POST":
        return _panel(request, part)
    require(request.user, "order.write")
    form = OfferForm(request.POST, prefix=request.POST.get("form", "")[:20] or None)
    if form.is_valid():
        try:
            offer = services.offer_set(part=part, by=request.user, **form.cleaned_data)
        except ShopError as error:
            form.add_error(None, error.words)
            return _panel(request, part, error.status, form=form)
        return _done(request, part, _("The offer of {supplier} is noted.").format(supplier=offer.supplier))
    return _panel(request, part, 422, form=form)


@require_POST
def offer_act(request: ShopRequest, pk: int, act: str) -> HttpResponse:
    """`prefer`: order the part from here from now on; `drop`: it is no longer had from there."""
    if act not in ("prefer", "drop"):
        raise Http404
    offer = get_object_or_404(Offer.objects.select_related("part", "supplier"), pk=pk)
    require(request.user, "order.write")
    if act == "drop":
        services.offer_drop(offer=offer, by=request.user)
        said = _("{part} is no longer had from {supplier}.")
    else:
        facts = {**offer_facts(offer), "supplier": offer.supplier, "preferred": True}
        services.offer_set(part=offer.part, by=request.user, **facts)
        said = _("{part} is ordered from {supplier} from now on.")
    return _done(request, offer.part, said.format(part=offer.part.number, supplier=offer.supplier))


def _facts(found: Supplier) -> dict[str, Any]:
    return {name: getattr(found, name) for name in ("name", "email", "lead_days", "note")}


def _suppliers(request: ShopRequest, form: SupplierForm, status: int = 200) -> HttpResponse:
    context = {"rows": reads.suppliers(timezone.localdate()), "form": form}
    return render(request, "parts/suppliers/list.html", context, status=status)


def _supplier(request: ShopRequest, found: Supplier, form: SupplierForm, status: int = 200) -> HttpResponse:
    offers = list(found.offers.select_related("part").order_by("part__number")[: OFFERS + 1])
    orders = found.orders.select_related("supplier").prefetch_related("lines")[:10]
    context = {
        "supplier": found,
        "row": reads.supplier_row(found, timezone.localdate()),
        "form": form,
        "offers": offers[:OFFERS],
        "more": len(offers) > OFFERS,
        "orders": reads.rows_of(orders),
    }
    return render(request, "parts/suppliers/supplier.html", context, status=status)


def _done(request: ShopRequest, part: Part, said: str) -> HttpResponse:
    if request.htmx:
        return _panel(request, part, said=said)
    messages.success(request, said)
    return redirect("parts:part-offers", part.pk)


def _panel(
    request: ShopRequest, part: Part, status: int = 200, form: OfferForm | None = None, said: str = ""
) -> HttpResponse:
    """`form`: what was typed and refused, in the place of the one it came from."""
    offers = list(part.offers.select_related("supplier"))
    forms = {offer.pk: OfferForm(prefix=f"o{offer.pk}", initial=offer_facts(offer)) for offer in offers}
    rows = [
        (offer, form if form is not None and form.prefix == f"o{offer.pk}" else forms[offer.pk]) for offer in offers
    ]
    new = form if form is not None and form.prefix == "new" else OfferForm(prefix="new", initial={"preferred": True})
    context = {
        "part": part,
        "rows": rows,
        "new": new,
        "said": said,
        "currency": (ShopProfile.objects.first() or ShopProfile()).currency,
    }
    template = f"parts/suppliers/offers.html{'#panel' if request.htmx else ''}"
    return render(request, template, context, status=status)
