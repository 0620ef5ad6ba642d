"""Estimates as the shop works on them: the panel of the job, the draft with its lines, and what was sent."""

from typing import Any

from django.contrib import messages
from django.core.mail import send_mail
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_POST, require_safe
from django.views.decorators.vary import vary_on_headers

from shop import services
from shop.errors import Conflict, ShopError
from shop.estimate_forms import AnswerForm, HeadForm, LineForm, SendForm
from shop.estimates import mail_text, text_of
from shop.http import ShopRequest, absolute, no_path_told
from shop.models import EstimateLine, EstimateVersion, Job, ShopProfile
from shop.permissions import needs
from shop.selectors import estimates as reads
from shop.services.estimates import LINES_AT_MOST
from shop.views.common import number_of


@require_GET
@vary_on_headers("HX-Request")
def panel(request: ShopRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("car"), pk=pk)
    estimates = reads.estimate_of(job)
    context = {
        "job": job,
        "estimates": estimates,
        "waits": any(one.sent and one.sent.waits for one in estimates),
        "answered": any(one.sent and one.sent.answered for one in estimates),
    }
    return render(request, f"shop/estimates/panel.html{'#panel' if request.htmx else ''}", context)


@require_POST
@needs("estimate.write")
def make(request: ShopRequest, pk: int) -> HttpResponse:
    """`from`: plan, or anything else for an empty draft."""
    job = get_object_or_404(Job, pk=pk)
    plan = request.POST.get("from") == "plan"
    made = services.estimate_make(job=job, by=request.user, from_plan=plan)
    if plan and (left := reads.tasks_to_offer(job).count()):
        words = ngettext(
            "An estimate has at most {most} lines: {count} task of the work plan has no place in this one. Make a "
            "supplement from the work plan for it.",
            "An estimate has at most {most} lines: {count} tasks of the work plan have no place in this one. Make a "
            "supplement from the work plan for them.",
            left,
        )
        messages.warning(request, words.format(most=LINES_AT_MOST, count=left))
    return redirect(made)


HEAD_ID = "head_%s"  # the form of a line has words too


@require_safe
def estimate(request: ShopRequest, pk: int) -> HttpResponse:
    """One version; `?line=` the line of a draft that is to be changed."""
    version = _version(pk)
    line = version.lines.filter(pk=number_of(request.GET.get("line", ""))).first()
    return _page(request, version, line=line)


@require_POST
@needs("estimate.write")
def lines(request: ShopRequest, pk: int) -> HttpResponse:
    """`act`: keep (a new line, or the one of `line`), up:<line>, remove:<line>."""
    version = _version(pk)
    act, _colon, key = request.POST.get("act", "keep").partition(":")
    line = _line(version, key or request.POST.get("line", ""))
    if act in ("up", "remove"):
        if line is None:
            raise ShopError(_("Say which line: expected its key."))
        change = services.line_up if act == "up" else services.line_remove
        change(version=version, by=request.user, line=line)
        return redirect(f"{version.get_absolute_url()}#lines")
    form = LineForm(request.POST)
    if not form.is_valid():
        return _page(request, version, 422, line=line, line_form=form)
    try:
        services.line_keep(version=version, by=request.user, line=line, **form.cleaned_data)
    except ShopError as error:
        form.add_error(None, error.words)
        return _page(request, version, error.status, line=line, line_form=form)
    return redirect(f"{version.get_absolute_url()}#lines")


@require_POST
@needs("estimate.write")
def head(request: ShopRequest, pk: int) -> HttpResponse:
    version, form = _version(pk), HeadForm(request.POST, auto_id=HEAD_ID)
    if not form.is_valid():
        return _page(request, version, 422, head_form=form)
    services.estimate_words(version=version, by=request.user, **form.cleaned_data)
    return redirect(version)


@never_cache
@require_POST
@needs("estimate.write")
def send(request: ShopRequest, pk: int) -> HttpResponse:
    """Freezes the draft and mails its link; the link is on the answer this once."""
    version, form = _version(pk), SendForm(request.POST)
    if not form.is_valid():
        return _page(request, version, 422, send_form=form)
    try:
        token = services.estimate_send(version=version, by=request.user, **form.cleaned_data)
    except ShopError as error:
        form.add_error(None, error.words)
        return _page(request, version, error.status, send_form=form)
    link = absolute(request, reverse("shop:estimate-public", args=[token]))
    context = {"version": version, "job": version.estimate.job, "link": link, "mail": _mailed(version, link)}
    return no_path_told(render(request, "shop/estimates/sent.html", context))


def _mailed(version: EstimateVersion, link: str) -> str:
    """What became of the mail: none | sent | failed."""
    if not version.sent_to:
        return "none"
    shop = ShopProfile.objects.first()
    subject = f"{version.estimate.title}: {version.estimate.job.title}" + (f", {shop.name}" if shop else "")
    try:
        send_mail(" ".join(subject.split()), mail_text(version, link, shop), None, [version.sent_to])
    except OSError:  # the mail server does not answer, or refuses (SMTPException is one): the link is on the page
        return "failed"
    return "sent"


@require_POST
@needs("estimate.write")
def withdraw(request: ShopRequest, pk: int) -> HttpResponse:
    version = _version(pk)
    services.estimate_withdraw(version=version, by=request.user)
    messages.success(request, _("The estimate is withdrawn: nobody can answer it any more."))
    return redirect(version)


@require_POST
@needs("estimate.write")
def next_version(request: ShopRequest, pk: int) -> HttpResponse:
    return redirect(services.version_next(version=_version(pk), by=request.user))


@require_POST
@needs("estimate.write")
def note_answer(request: ShopRequest, pk: int) -> HttpResponse:
    """What the customer said at the counter or on the telephone."""
    version = _version(pk)
    form = AnswerForm(request.POST, lines=list(version.lines.order_by("number")))
    if not form.is_valid():
        return _page(request, version, 422, answer_form=form)
    try:
        services.answers_keep(
            version=version, answers=form.answers(), name=form.cleaned_data["name"], noted_by=request.user
        )
    except ShopError as error:
        form.add_error(None, error.words)
        return _page(request, version, error.status, answer_form=form)
    messages.success(request, _("The answer is noted."))
    return redirect(version)


def _version(pk: int) -> EstimateVersion:
    return get_object_or_404(EstimateVersion.objects.select_related("estimate__job__car__owner", "sent_by"), pk=pk)


def _line(version: EstimateVersion, key: str) -> EstimateLine | None:
    """The line with the key; None without a key. Conflict where it is gone."""
    if not key:
        return None
    found = version.lines.filter(pk=number_of(key)).first()
    if found is None:
        raise Conflict(_("This line is no longer there: somebody removed it."))
    return found


def _page(
    request: ShopRequest, version: EstimateVersion, status: int = 200, *, line: EstimateLine | None = None, **forms: Any
) -> HttpResponse:
    shop = ShopProfile.objects.first() or ShopProfile()
    found = reads.shown(get_object_or_404(reads.versions_with_lines(), pk=version.pk))
    waiting = [row for row in found.lines if not hasattr(row, "answer")]
    owner, estimate = version.estimate.job.car.owner, version.estimate
    context: dict[str, Any] = {
        "version": version,
        "found": found,
        "job": estimate.job,
        "line": line,
        "preview": version.text or text_of(version, list(found.lines), shop if shop.pk else None),
        "unpriced": [row for row in found.lines if not row.unit_price],
        "line_form": LineForm.of(shop, line),
        "head_form": HeadForm(initial={"title": estimate.title, "words": version.words}, auto_id=HEAD_ID),
        "send_form": SendForm(initial={"to": owner.email if owner else ""}),
        "answer_form": AnswerForm(lines=waiting),
        "versions": estimate.versions.order_by("version"),
    }
    return render(request, "shop/estimates/estimate.html", context | forms, status=status)
