"""Drafts of the next revision of a top system: kept, thrown away, published."""

from unicodedata import category

from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.engine.system.marked import MAX_CHARACTERS
from diagnostics.engine.system.revising import is_name, name_in
from diagnostics.models import SystemDraft, SystemRevision
from diagnostics.services.systems import system_publish
from shop.errors import Conflict, ShopError
from shop.models import User
from shop.permissions import require
from shop.services import trail_record


class DraftMoved(Conflict):
    """Somebody else kept, threw away or published the draft since it was read."""


@transaction.atomic
def draft_keep(*, slug: str, text: str, seen: int, by: User) -> SystemDraft:
    """Keep `text` as the draft of `slug`, mistakes and all. `seen`: the version that it was made from, 0 for none.

    ShopError for a text that cannot be stored; DraftMoved where the draft is another one than was seen.
    """
    require(by, "system.draft")
    if not is_name(slug):
        words = _("{slug} cannot name a top system; expected small letters and digits, words joined by hyphens.")
        raise ShopError(words.format(slug=slug))
    _check_text(text)
    draft = SystemDraft.objects.select_for_update().filter(slug=slug).first()
    _check_seen(draft, seen)
    if draft is None:
        newest = SystemRevision.objects.filter(slug=slug).order_by("-revision").first()
        draft = SystemDraft(slug=slug, base=newest, version=0)
    draft.text, draft.by, draft.at, draft.version = text, by, timezone.now(), draft.version + 1
    try:
        with transaction.atomic():
            draft.save()
    except IntegrityError as error:
        raise _moved(SystemDraft.objects.filter(slug=slug).first()) from error
    words = _("Kept a draft of top system {slug}.").format(slug=slug)
    trail_record(by=by, kind="system.drafted", words=words, link=draft.get_absolute_url())
    return draft


@transaction.atomic
def draft_drop(*, slug: str, seen: int, by: User) -> None:
    """Throw the draft away, for good. DraftMoved where it is another one than was seen."""
    require(by, "system.draft")
    draft = _seen_draft(slug, seen)
    draft.delete()
    words = _("Threw the draft of top system {slug} away.").format(slug=slug)
    trail_record(by=by, kind="system.draft-dropped", words=words, link=reverse("diagnostics:systems"))


@transaction.atomic
def draft_publish(*, slug: str, seen: int, note: str, by: User) -> SystemRevision:
    """Publish the draft as the next revision and take it off the table. `note`: what changed and why.

    ShopError without a note, for a text with mistakes or of another system; Conflict where the number is not the next
    one or was taken meanwhile; DraftMoved where the draft is another one than was seen.
    """
    require(by, "system.publish")
    draft = _seen_draft(slug, seen)
    if not note.strip():
        raise ShopError(_("A note is missing; expected in a sentence what changed and why."))
    if name_in(draft.text) not in ("", slug):
        raise ShopError(_("The draft declares another system than {slug}.").format(slug=slug))
    newest = SystemRevision.objects.filter(slug=slug).order_by("-revision").first()
    revision = system_publish(text=draft.text, source=slug, by=by, note=note)
    if newest is not None and revision.revision != newest.revision + 1:
        words = _("Revision {given} is not the next one of {slug}; expected {next}.")
        raise Conflict(words.format(given=revision.revision, slug=slug, next=newest.revision + 1))
    draft.delete()
    return revision


def _seen_draft(slug: str, seen: int) -> SystemDraft:
    draft = SystemDraft.objects.select_for_update().filter(slug=slug).first()
    _check_seen(draft, seen)
    if draft is None:
        raise Conflict(_("There is no draft of {slug} any more.").format(slug=slug))
    return draft


def _check_seen(draft: SystemDraft | None, seen: int) -> None:
    if (draft.version if draft is not None else 0) != seen:
        raise _moved(draft)


def _moved(draft: SystemDraft | None = None) -> DraftMoved:
    if draft is None:
        return DraftMoved(_("The draft that you had before you is gone: it was published or thrown away."))
    return DraftMoved(_("{who} kept this draft meanwhile.").format(who=draft.by))


def _check_text(text: str) -> None:
    if not text.strip():
        raise ShopError(_("The text is empty; expected a top system."))
    if len(text) > MAX_CHARACTERS:
        words = _("The text has {count} characters; a system file has at most {most}.")
        raise ShopError(words.format(count=len(text), most=MAX_CHARACTERS))
    if any(category(character) in ("Cc", "Cs") and character not in "\n\t\r" for character in text):
        raise ShopError(_("The text holds a character that no text may contain; save it as plain UTF-8 text."))
