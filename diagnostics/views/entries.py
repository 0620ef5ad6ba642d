"""Entries: one added, one struck out."""

import uuid

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from diagnostics import services
from diagnostics.forms import ENTRY_FORMS, FreeForm, StrikeForm, first_words
from diagnostics.models import BenchSheet, Check
from diagnostics.views.common import done_answer, refused_answer, sheet_or_404
from shop.errors import ShopError
from shop.http import ShopRequest


def _entered(request: ShopRequest, sheet: BenchSheet) -> Check:
    kind, _colon, answer = request.POST.get("check", "").partition(":")
    form_class = ENTRY_FORMS.get(kind) if sheet.revision is not None else FreeForm
    if form_class is None:
        raise ShopError(_("“{kind}” is no kind of check.").format(kind=kind))
    data = request.POST.copy()
    data["answer"] = answer
    form = form_class(data)
    if not form.is_valid():
        raise ShopError(first_words(form))
    return services.check_add(
        sheet=sheet,
        by=request.user,
        observation=form.observation(),
        entry_id=form.cleaned_data["entry_id"] or uuid.uuid4(),
    )


@require_POST
def check_add(request: ShopRequest, pk: int) -> HttpResponse:
    sheet = sheet_or_404(pk)
    try:
        check = _entered(request, sheet)
    except ShopError as error:
        return refused_answer(request, sheet, error)
    return done_answer(request, sheet, check.words)


@require_POST
def check_strike(request: ShopRequest, pk: int) -> HttpResponse:
    """`undo` in the form: the reason is that the person takes back their own last entry."""
    check = get_object_or_404(Check.objects.select_related("sheet", "sheet__job", "struck_by"), pk=pk)
    form = StrikeForm(request.POST)
    try:
        if not form.is_valid():
            raise ShopError(first_words(form))
        why = form.cleaned_data["why"]
        if request.POST.get("undo"):
            why = _("undone by {who}").format(who=request.user)
        services.check_strike(check=check, by=request.user, why=why)
    except ShopError as error:
        return refused_answer(request, sheet_or_404(check.sheet_id), error)
    return done_answer(request, check.sheet)
