"""The system editor: a text becomes the next revision of a top system by way of a draft that the shop shares."""

from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from diagnostics import services
from diagnostics.engine.system.load import Problem, SystemFileError, load_system
from diagnostics.engine.system.revising import is_name, name_in, with_revision
from diagnostics.models import SystemDraft, SystemRevision
from diagnostics.models.systems import NOTE_LENGTH
from diagnostics.selectors.drafts import drafts, mistakes_of, read_draft
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.permissions import may, needs

MAX_BYTES = 512 * 1024


@require_http_methods(["GET", "POST"])
@needs("system.draft")
def draft_new(request: ShopRequest) -> HttpResponse:
    """Any system file, to begin a draft of whatever system it declares; nothing is stored yet."""
    context: dict[str, Any] = {"drafts": drafts()}
    if request.method == "GET":
        return render(request, "diagnostics/systems/new.html", context)
    try:
        context["text"] = text = _text_sent(request)
        slug = name_in(text)
    except ShopError as error:
        context |= {"text": request.POST.get("text", ""), "problem": error.words}
        return render(request, "diagnostics/systems/new.html", context, status=error.status)
    if slug:
        return _editor(request, slug, text)
    context["mistakes"] = mistakes_of(text, _problems(text))
    return render(request, "diagnostics/systems/new.html", context, status=422)


@require_http_methods(["GET", "POST"])
@needs("system.draft")
def draft(request: ShopRequest, slug: str) -> HttpResponse:
    """The draft of a system, or what one begins with. POST `act`: check (nothing is stored) | number (the next one is
    set in the text) | keep; `seen`: the version of the draft that was before the eyes."""
    if not is_name(slug):
        words = _("{slug} cannot name a top system; expected small letters and digits, words joined by hyphens.")
        return render(request, "shop/error.html", {"status": 404, "words": words.format(slug=slug)}, status=404)
    if request.method == "GET":
        return _editor(request, slug)
    try:
        text = _text_sent(request)
        act = request.POST.get("act", "check")
        if act == "number":
            newest = _newest(slug)
            return _editor(request, slug, with_revision(text, newest.revision + 1 if newest else 1))
        if act == "keep":
            services.draft_keep(slug=slug, text=text, seen=_seen(request), by=request.user)
            messages.success(request, _("The draft is kept. Whoever may draft here can go on with it."))
            return redirect("diagnostics:draft", slug)
    except ShopError as error:
        return _editor(request, slug, request.POST.get("text", ""), problem=error)
    return _editor(request, slug, text)


@require_POST
@needs("system.draft")
def draft_drop(request: ShopRequest, slug: str) -> HttpResponse:
    services.draft_drop(slug=slug, seen=_seen(request), by=request.user)
    messages.success(request, _("The draft of {slug} is thrown away.").format(slug=slug))
    return redirect("diagnostics:systems")


@require_POST
@needs("system.publish")
def draft_publish(request: ShopRequest, slug: str) -> HttpResponse:
    """`note`: what changed and why; `seen`: the version of the draft that is published."""
    note = request.POST.get("note", "").replace("\0", "")
    try:
        revision = services.draft_publish(slug=slug, seen=_seen(request), note=note, by=request.user)
    except ShopError as error:
        return _editor(request, slug, problem=error, note=note)
    words = _("Revision {number} is published. Sheets and jobs that are under way keep the one they began with.")
    messages.success(request, words.format(number=revision.revision))
    return redirect(f"{reverse('diagnostics:system', args=[slug])}")


def _editor(
    request: ShopRequest, slug: str, typed: str | None = None, *, problem: ShopError | None = None, note: str = ""
) -> HttpResponse:
    """The editor with what was typed, else the draft, else what a draft begins with: the newest revision, with the next
    number. After a refusal the draft's version is the new one: whoever keeps again has been told whose work it is."""
    kept, newest = SystemDraft.objects.select_related("by", "base").filter(slug=slug).first(), _newest(slug)
    text = typed
    if text is None:
        text = kept.text if kept is not None else with_revision(newest.text, newest.revision + 1) if newest else ""
    reading = read_draft(slug, text, newest) if text.strip() else None
    stands = kept is not None and kept.text == text
    context = {
        "slug": slug,
        "draft": kept,
        "newest": newest,
        "text": text,
        "reading": reading,
        "stands": stands,
        "begun_on_older": kept is not None and newest is not None and kept.base_id != newest.pk,
        "problem": problem.words if problem else "",
        "theirs": problem is not None and isinstance(problem, services.DraftMoved) and kept is not None,
        "note": note,
        "note_length": NOTE_LENGTH,
        "can_publish": stands and reading is not None and reading.sound and may(request.user, "system.publish"),
    }
    wrong = typed is not None and reading is not None and bool(reading.mistakes)
    status = problem.status if problem else 422 if wrong else 200
    return render(request, "diagnostics/systems/draft.html", context, status=status)


def _newest(slug: str) -> SystemRevision | None:
    return SystemRevision.objects.filter(slug=slug).order_by("-revision").first()


def _seen(request: ShopRequest) -> int:
    said = request.POST.get("seen", "")
    return int(said) if said.isascii() and said.isdecimal() and len(said) < 9 else 0


def _text_sent(request: ShopRequest) -> str:
    """The text of the uploaded file, else what was typed; lines end in a line feed alone. ShopError for a file that is
    no text or too large, and for nothing at all."""
    file = request.FILES.get("file")
    text = _text_of_file(file) if isinstance(file, UploadedFile) else request.POST.get("text", "")
    text = text.replace("\r\n", "\n")
    if not text.strip():
        raise ShopError(_("Nothing was sent; expected the text of a system file, or the file."))
    return text


def _text_of_file(file: "UploadedFile[bytes]") -> str:
    if (file.size or 0) > MAX_BYTES:
        words = _("The file has {size} kB; a system file has at most {most} kB.")
        raise ShopError(words.format(size=(file.size or 0) // 1024, most=MAX_BYTES // 1024))
    data: bytes = file.read()
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        words = _("Line {line} of the file is no UTF-8 text; expected a plain text file saved as UTF-8.")
        raise ShopError(words.format(line=line)) from error


def _problems(text: str) -> tuple[Problem, ...]:
    """The mistakes of a text that does not say which system it is about."""
    try:
        load_system(text, "")
    except SystemFileError as error:
        return error.problems
    return ()
