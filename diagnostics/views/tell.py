"""The symptom interview for the public, without a sign-in: no contact in any address, nothing kept until it is sent."""

from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods

from diagnostics import services
from diagnostics.engine.cautions import owner_cautions
from diagnostics.engine.errors import CaseError
from diagnostics.engine.interview import MOST_QUESTIONS, path
from diagnostics.engine.questions import motion_of, sentences_of
from diagnostics.enquiry_forms import SenderForm, answers_given, count_sending
from diagnostics.models import Enquiry, SystemRevision
from diagnostics.selectors import newest_revisions, system_of
from diagnostics.selectors.enquiries import closed_picture, outlook_for, outlook_of, step_pictures, told_lines
from shop.errors import ShopError
from shop.models import ShopProfile


def _page(request: HttpRequest, name: str, status: int = 200, **context: Any) -> HttpResponse:
    context["the_shop"] = ShopProfile.objects.first()
    return render(request, f"diagnostics/tell/{name}.html", context, status=status)


@login_not_required
@require_GET
def tell(request: HttpRequest) -> HttpResponse:
    """Which top it is: the declared ones by title, or one that nobody knows."""
    tops = [(revision, closed_picture(revision)) for revision in newest_revisions()]
    return _page(request, "start", tops=tops, cautions=owner_cautions(half_way=True))


@login_not_required
@require_GET
def about(request: HttpRequest, slug: str) -> HttpResponse:
    """The next question; once enough is known, what is thought and the form to send it. The answers so far stand in
    the address, so that the way back is the browser's own."""
    revision = get_object_or_404(newest_revisions(), slug=slug)
    system = system_of(revision)
    try:
        answers, asked = path(system, answers_given(request.GET))
    except CaseError as error:
        return _page(request, "problem", 422, problem=str(error), revision=revision)
    context: dict[str, Any] = {"revision": revision, "answers": answers, "told": sentences_of(system, answers)}
    if asked is None:
        return _page(request, "result", outlook=outlook_for(revision, answers), form=SenderForm(), **context)
    context |= {"question": asked, "number": len(answers) + 1, "most": MOST_QUESTIONS, "back": _back(answers)}
    context["pictures"] = step_pictures(revision, motion_of(answers)) if asked.name == "stops" else {}
    return _page(request, "question", **context)


def _back(answers: dict[str, str]) -> str:
    """The address's query one answer earlier; '' at the first question."""
    earlier = QueryDict(mutable=True)
    for name, value in list(answers.items())[:-1]:
        earlier.setlist(name, value.split(","))
    return "?" + earlier.urlencode() if answers else ""


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def send(request: HttpRequest) -> HttpResponse:
    """GET: the form for somebody who does not know the top. POST keeps the enquiry and thanks."""
    slug = request.POST.get("system", "")
    # Compared here: PostgreSQL takes no text with a NUL in it, and this one is typed by anybody.
    revision = next((one for one in newest_revisions() if one.slug == slug), None) if slug else None
    if request.method != "POST":
        return _page(request, "words", form=SenderForm(told=False), cautions=owner_cautions(half_way=True))
    answers = answers_given(request.POST)
    form = SenderForm(request.POST, told=revision is not None)
    if not form.is_valid():
        return _again(request, form, revision, answers, 422)
    try:
        count_sending(request)
        enquiry = services.enquiry_send(revision=revision, answers=answers, contact=form.contact())
    except ShopError as error:
        form.add_error(None, error.words)
        return _again(request, form, revision, answers, error.status)
    return redirect("diagnostics:tell-sent", enquiry.code)


def _again(
    request: HttpRequest, form: SenderForm, revision: SystemRevision | None, given: dict[str, str], status: int
) -> HttpResponse:
    """The page that the form came from, with what was typed and what is wrong with it."""
    if revision is None:
        return _page(request, "words", status, form=form, cautions=owner_cautions(half_way=True))
    system = system_of(revision)
    try:
        answers, _asked = path(system, given)
    except CaseError as error:
        return _page(request, "problem", 422, problem=str(error), revision=revision)
    context = {"revision": revision, "answers": answers, "told": sentences_of(system, answers)}
    return _page(request, "result", status, outlook=outlook_for(revision, answers), form=form, **context)


@login_not_required
@never_cache
@require_GET
def sent(request: HttpRequest, code: str) -> HttpResponse:
    """Thanks, and what was told once more; never the contact: whoever gets hold of the address learns no name."""
    enquiry = get_object_or_404(Enquiry.objects.select_related("revision"), code=code)
    return _page(
        request,
        "sent",
        enquiry=enquiry,
        told=told_lines(enquiry),
        outlook=outlook_of(enquiry),
        cautions=owner_cautions(half_way=True),
    )
