"""One part of the shelf: its page, what is done to it, its ledger and its batches."""

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST
from django.views.decorators.vary import vary_on_headers

from parts import services
from parts.models import Lot, Movement, Part
from parts.selectors.lots import cars_of_lot
from parts.selectors.part_page import PartFacts, ledger, part_facts
from parts.services.undo import BY_ANYONE_AT_THE_SHELF, may_be_undone
from parts.shelf_forms import (
    BarcodeForm,
    ChangeForm,
    CoreForm,
    GoodsForm,
    ReasonForm,
    RebuiltForm,
    ScrapForm,
    SupersedeForm,
)
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.models import User
from shop.permissions import may, needs, require
from shop.views.common import number_of


@require_GET
def part(request: ShopRequest, number: str) -> HttpResponse:
    return _page(request, get_object_or_404(_PARTS, number=number))


@require_POST
def part_act(request: ShopRequest, pk: int, act: str) -> HttpResponse:
    """One of _ACTS, by its form."""
    if act not in _ACTS:
        raise Http404
    doing, one = _ACTS[act], get_object_or_404(_PARTS, pk=pk)
    require(request.user, doing.may)
    facts = part_facts(one)
    form = doing.form(facts, request.POST)
    if not form.is_valid():
        return _page(request, one, 422, facts, {act: form})
    try:
        said = doing.write(one, request.user, form.cleaned_data)
    except ShopError as error:
        form.add_error(None, error.words)
        return _page(request, one, error.status, facts, {act: form})
    messages.success(request, said)
    return redirect("parts:part", one.number)


@require_GET
@vary_on_headers("HX-Request")
def part_moves(request: ShopRequest, pk: int) -> HttpResponse:
    """The ledger of a part, a page at a time: a page of its own, and a fragment of the part's."""
    one = get_object_or_404(Part, pk=pk)
    book = ledger(one, number_of(request.GET.get("before", "")) or None)
    rows = [(move, may_be_undone(move) and may(request.user, _undo_needs(move))) for move in book.moves]
    template = f"parts/moves.html{'#moves' if request.htmx else ''}"
    return render(request, template, {"part": one, "book": book, "rows": rows})


@require_POST
def move_undo(request: ShopRequest, pk: int) -> HttpResponse:
    move = get_object_or_404(Movement.objects.select_related("part"), pk=pk)
    require(request.user, _undo_needs(move))
    try:
        services.movement_undo(movement=move, by=request.user, why=request.POST.get("why", ""))
    except ShopError as error:
        return _page(request, move.part, error.status, problem=error.words)
    messages.success(request, _("It is taken back; the ledger keeps both entries."))
    return redirect("parts:part", move.part.number)


@require_http_methods(["GET", "POST"])
def lot(request: ShopRequest, pk: int) -> HttpResponse:
    """A batch and the cars that carry it; POST bars it with a reason, or takes the bar away with none."""
    batch = get_object_or_404(Lot.objects.select_related("part", "supplier"), pk=pk)
    if request.method == "GET":
        return render(request, "parts/lot.html", {"lot": batch, "cars": cars_of_lot(batch), "form": ReasonForm()})
    return _bar(request, batch)


@needs("shelf.write")
def _bar(request: ShopRequest, batch: Lot) -> HttpResponse:
    form, status = ReasonForm(request.POST), 422
    if form.is_valid():
        try:
            services.lot_bar(lot=batch, by=request.user, why=form.cleaned_data["why"])
        except ShopError as error:
            form.add_error(None, error.words)
            status = error.status
        else:
            messages.success(request, _("It is noted; the cars that carry it are below."))
            return redirect("parts:lot", batch.pk)
    context = {"lot": batch, "cars": cars_of_lot(batch), "form": form}
    return render(request, "parts/lot.html", context, status=status)


class Doing(NamedTuple):
    """What `may` be done, by which form, and what writes it: gives back what is said of it."""

    may: str
    form: Callable[..., Any]
    write: Callable[[Part, User, Mapping[str, Any]], str]


def _change(part: Part, by: User, said: Mapping[str, Any]) -> str:
    services.part_change(part=part, by=by, **said)
    return _("What the catalogue says of {part} is changed.").format(part=part.number)


def _supersede(part: Part, by: User, said: Mapping[str, Any]) -> str:
    new = said["new"]
    services.part_supersede(old=part, new=new, by=by)
    if new is None:
        return _("{old} is superseded by nothing.").format(old=part.number)
    return _("{old} is superseded by {new}.").format(old=part.number, new=new.number)


def _barcode(part: Part, by: User, said: Mapping[str, Any]) -> str:
    row = services.barcode_add(part=part, by=by, **said)
    return _("Barcode {barcode} names {part}.").format(barcode=row.barcode, part=part.number)


def goods_taken_in(part: Part, by: User, said: Mapping[str, Any]) -> str:
    """Book what came in, against its order where it belongs to one."""
    line, quantity, lot_number = said.get("line"), said["quantity"], said.get("lot", "")
    if line is not None:
        services.order_receive(
            line=line, by=by, quantity=quantity, lot=lot_number, price=said["price"], surplus_why=said["why"]
        )
    else:
        services.goods_in(
            part=part, by=by, quantity=quantity, lot=lot_number, price=said["price"], why=said["why"]
        )  # fmt: skip
    return _("{quantity} × {part} taken in.").format(quantity=quantity, part=part.number)


def _scrap(part: Part, by: User, said: Mapping[str, Any]) -> str:
    services.scrap(part=part, by=by, **said)
    return _("{quantity} × {part} scrapped.").format(quantity=said["quantity"], part=part.number)


def _core(part: Part, by: User, said: Mapping[str, Any]) -> str:
    services.core_in(part=part, by=by, **said)
    return _("{quantity} × core of {part} taken back.").format(quantity=said["quantity"], part=part.number)


def _rebuilt(part: Part, by: User, said: Mapping[str, Any]) -> str:
    services.rebuilt(part=part, by=by, **said)
    return _("{quantity} × {part} rebuilt and back on the shelf.").format(quantity=said["quantity"], part=part.number)


def _form_of(kind: type[Any], act: str) -> Callable[..., Any]:
    """A maker of that form for a part; ids differ between the forms of a page."""

    def make(facts: PartFacts, data: Any = None) -> Any:
        one = facts.part
        more: dict[str, Any] = {"coming": facts.standing.coming} if kind is GoodsForm else {}
        if kind is ChangeForm:
            more["initial"] = {name: getattr(one, name) for name in ChangeForm.base_fields}
        if kind is SupersedeForm:
            more["initial"] = {"new": one.superseded_by.number if one.superseded_by else ""}
        return kind(data, part=one, auto_id=f"{act}-%s", **more)

    return make


_ACTS: Mapping[str, Doing] = {
    "goods-in": Doing("shelf.write", _form_of(GoodsForm, "goods-in"), goods_taken_in),
    "scrap": Doing("shelf.write", _form_of(ScrapForm, "scrap"), _scrap),
    "core": Doing("shelf.issue", _form_of(CoreForm, "core"), _core),
    "rebuilt": Doing("shelf.write", _form_of(RebuiltForm, "rebuilt"), _rebuilt),
    "change": Doing("part.write", _form_of(ChangeForm, "change"), _change),
    "supersede": Doing("part.write", _form_of(SupersedeForm, "supersede"), _supersede),
    "barcode": Doing("part.write", _form_of(BarcodeForm, "barcode"), _barcode),
}


def _words(act: str) -> str:
    return {
        "goods-in": _("Take pieces in"),
        "scrap": _("Scrap"),
        "core": _("Take a core back"),
        "rebuilt": _("Rebuilt: back on the shelf"),
        "change": _("Change what the catalogue says"),
        "supersede": _("Say what supersedes it"),
        "barcode": _("Add a barcode"),
    }[act]


def _page(
    request: ShopRequest,
    one: Part,
    status: int = 200,
    facts: PartFacts | None = None,
    bound: Mapping[str, Any] | None = None,
    problem: str = "",
) -> HttpResponse:
    """`bound`: act -> the form that was refused, with what was typed. `problem`: why something else was refused."""
    facts = facts or part_facts(one)
    offered = [act for act in _ACTS if may(request.user, _ACTS[act].may) and (one.rebuildable or act not in _OF_CORES)]
    forms = {act: (_words(act), (bound or {}).get(act) or _ACTS[act].form(facts)) for act in offered}
    context = {
        "facts": facts, "part": one, "problem": problem,
        "at_shelf": [(act, *forms[act]) for act in _AT_SHELF if act in forms],
        "in_catalogue": [(act, *forms[act]) for act in _IN_CATALOGUE if act in forms],
    }  # fmt: skip
    return render(request, "parts/part.html", context, status=status)


_PARTS = Part.objects.select_related("stock", "superseded_by")
_OF_CORES = ("core", "rebuilt")
_AT_SHELF = ("goods-in", "scrap", "core", "rebuilt")
_IN_CATALOGUE = ("change", "supersede", "barcode")


def _undo_needs(move: Movement) -> str:
    return "shelf.issue" if move.kind in BY_ANYONE_AT_THE_SHELF else "shelf.write"
