"""Orders to suppliers: drafted, sent, received line by line, given up."""

from collections.abc import Callable, Mapping
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST
from django.views.decorators.vary import vary_on_headers

from parts import services
from parts.models import Order, OrderLine, OrderState, Tracking
from parts.order_files import order_pdf, order_rows
from parts.order_forms import ChangeForm, ConfirmForm, OrderLineForm, ReceiveForm, SendForm, WhyForm
from parts.selectors import orders as reads
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.models import ShopProfile
from shop.permissions import require
from shop.tables import csv_answer
from shop.views.common import number_of


@require_GET
def orders(request: ShopRequest) -> HttpResponse:
    """`?show=over` those that are over, else what is drafted and on the way."""
    return _list(request, OrderLineForm())


@require_GET
@vary_on_headers("HX-Request")
def late(request: ShopRequest) -> HttpResponse:
    """The orders that are over their day: a fragment of the Floor for those who order, and a page of its own."""
    rows = reads.rows_of(reads.late_orders(timezone.localdate()))
    template = f"parts/orders/late.html{'#late' if request.htmx else ''}"
    return render(request, template, {"rows": rows})


@require_POST
def line_add(request: ShopRequest) -> HttpResponse:
    """Put pieces on the supplier's draft; `order` says from whose page, where a refusal is shown."""
    require(request.user, "order.write")
    form = OrderLineForm(request.POST)
    if form.is_valid():
        try:
            line = services.order_line_add(by=request.user, **form.cleaned_data)
        except ShopError as error:
            form.add_error(None, error.words)
            return _add_refused(request, form, error.status)
        messages.success(
            request, _("{part} is on the draft {order}.").format(part=line.part.number, order=line.order.number)
        )
        return _to(line.order, line)
    return _add_refused(request, form, 422)


@require_GET
def order(request: ShopRequest, pk: int) -> HttpResponse:
    return _page(request, _order(pk))


@require_GET
def paper(request: ShopRequest, pk: int) -> HttpResponse:
    """The order as a PDF."""
    found = _order(pk)
    answer = HttpResponse(order_pdf(found, reads.lines_of(found)), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{found.number}.pdf"'
    return answer


@require_GET
def table(request: ShopRequest, pk: int) -> HttpResponse:
    """The order as a table for a spreadsheet, or for the supplier's own page."""
    found = _order(pk)
    return csv_answer(found.number, order_rows(found, reads.lines_of(found)))


@require_POST
def order_act(request: ShopRequest, pk: int, act: str) -> HttpResponse:
    """`send`, `confirm` or `cancel` the order."""
    if act not in _ACTS:
        raise Http404
    found = _order(pk)
    require(request.user, "order.write")
    kind, service, said = _ACTS[act]
    form = kind(request.POST, prefix=act)
    if form.is_valid():
        try:
            service(order=found, by=request.user, **form.cleaned_data)
        except ShopError as error:
            form.add_error(None, error.words)
            return _page(request, _order(pk), error.status, {act: form})
        messages.success(request, _(said).format(order=found.number))
        return _to(found)
    return _page(request, found, 422, {act: form})


@require_POST
def line_act(request: ShopRequest, pk: int, act: str) -> HttpResponse:
    """`change`, `strike`, `receive` or `give-up` one line."""
    if act not in ("change", "strike", "receive", "give-up"):
        raise Http404
    line = get_object_or_404(OrderLine.objects.select_related("order__supplier", "part"), pk=pk)
    require(request.user, "shelf.write" if act == "receive" else "order.write")
    form = _line_form(act, line, request.POST)
    if form.is_valid():
        try:
            said = _LINE_ACTS[act](request, line, form.cleaned_data)
        except ShopError as error:
            form.add_error(None, error.words)
            return _page(request, _order(line.order_id), error.status, {f"{act}-{pk}": form})
        messages.success(request, said)
        return _to(line.order, line)
    return _page(request, line.order, 422, {f"{act}-{pk}": form})


_ACTS: Mapping[str, tuple[type[forms.Form], Callable[..., Order], str]] = {
    "send": (SendForm, services.order_send, "{order} is sent."),
    "confirm": (ConfirmForm, services.order_confirm, "The day of {order} is noted."),
    "cancel": (WhyForm, services.order_cancel, "{order} is called off."),
}


def _change(request: ShopRequest, line: OrderLine, typed: dict[str, Any]) -> str:
    services.order_line_change(line=line, by=request.user, **typed)
    return _("{part} is changed.").format(part=line.part.number)


def _strike(request: ShopRequest, line: OrderLine, _typed: dict[str, Any]) -> str:
    services.order_line_change(line=line, by=request.user, quantity=0)
    return _("{part} is taken off.").format(part=line.part.number)


def _receive(request: ShopRequest, line: OrderLine, typed: dict[str, Any]) -> str:
    services.order_receive(line=line, by=request.user, **typed)
    return _("{quantity} × {part} are on the shelf.").format(quantity=typed["quantity"], part=line.part.number)


def _give_up(request: ShopRequest, line: OrderLine, typed: dict[str, Any]) -> str:
    services.order_line_give_up(line=line, by=request.user, **typed)
    return _("The rest of {part} is not expected any more.").format(part=line.part.number)


_LINE_ACTS: Mapping[str, Callable[[ShopRequest, OrderLine, dict[str, Any]], str]] = {
    "change": _change, "strike": _strike, "receive": _receive, "give-up": _give_up,
}  # fmt: skip


def _line_form(act: str, line: OrderLine, data: Any = None) -> forms.Form:
    """The form of one act on a line; fields are named apart, for a page has one of each line."""
    more: dict[str, Any] = {"prefix": f"l{line.pk}"}
    if act == "receive":
        followed = line.part.tracking != Tracking.NONE
        one = line.part.tracking == Tracking.SERIAL
        initial = {"quantity": 1 if one else max(line.open, 1), "price": line.price}
        return ReceiveForm(data, followed=followed, initial=initial, **more)
    if act == "give-up":
        return WhyForm(data, **(more | {"prefix": f"g{line.pk}"}))
    if act == "change":
        return ChangeForm(data, initial={"quantity": line.quantity, "price": line.price}, **more)
    return forms.Form(data)


def _order(pk: int) -> Order:
    return get_object_or_404(Order.objects.select_related("supplier", "made_by"), pk=pk)


def _to(found: Order, line: OrderLine | None = None) -> HttpResponse:
    return redirect(reverse("parts:order", args=[found.pk]) + (f"#line-{line.pk}" if line is not None else ""))


def _add_refused(request: ShopRequest, form: OrderLineForm, status: int) -> HttpResponse:
    found = Order.objects.filter(pk=number_of(request.POST.get("order", ""))).first()
    if found is not None:
        return _page(request, _order(found.pk), status, {"add": form.of(found.supplier)})
    return _list(request, form, status)


def _list(request: ShopRequest, form: OrderLineForm, status: int = 200) -> HttpResponse:
    is_over = request.GET.get("show") == "over"
    rows, page = (reads.over if is_over else reads.on_the_way)(number_of(request.GET.get("page", "")) or 1)
    context = {
        "rows": rows,
        "page": page,
        "over": is_over,
        "drafts": [] if is_over else reads.drafts(),
        "form": form,
        "numbers": reads.numbers_to_order(),
        "currency": _currency(),
    }
    return render(request, "parts/orders/list.html", context, status=status)


def _page(
    request: ShopRequest, found: Order, status: int = 200, refused: Mapping[str, forms.Form] | None = None
) -> HttpResponse:
    """`refused`: forms with what was typed and why not, by their act (of a line: act-key)."""
    refused, lines = refused or {}, reads.lines_of(found)
    acts = {"draft": ("change",), "sent": ("receive", "give-up")}.get(found.state, ())
    rows = []
    for row in lines:
        made = {act: refused.get(f"{act}-{row.line.pk}") or _line_form(act, row.line) for act in acts}
        rows.append({"row": row, **{act.replace("-", "_"): form for act, form in made.items()}})
    confirm = {"expected_on": found.expected_on, "their_reference": found.their_reference}
    context = {
        "order": found,
        "whole": reads.row_of(found, [row.line for row in lines], timezone.localdate()),
        "rows": rows,
        "here": any(row.line.received for row in lines),
        "add": refused.get("add") or OrderLineForm().of(found.supplier),
        "send": refused.get("send") or SendForm(prefix="send"),
        "confirm": refused.get("confirm") or ConfirmForm(prefix="confirm", initial=confirm),
        "cancel": refused.get("cancel") or WhyForm(prefix="cancel"),
        "numbers": reads.numbers_to_order(found.supplier) if found.state == OrderState.DRAFT else (),
        "currency": _currency(),
    }
    return render(request, "parts/orders/order.html", context, status=status)


def _currency() -> str:
    return (ShopProfile.objects.first() or ShopProfile()).currency
