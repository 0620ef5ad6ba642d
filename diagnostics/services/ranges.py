"""What the owner decides of a production range that was found. The data it was found in stays with it either way."""

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.models import ProductionRange, RangeState
from diagnostics.services.found import range_words
from diagnostics.services.learned import learn_alone, models_stale
from diagnostics.services.learning import learning_follow
from shop.errors import Conflict, ShopError
from shop.models import User
from shop.permissions import require
from shop.services import trail_record

NOTE_AT_MOST = 500


def range_confirm(*, range: ProductionRange, by: User, note: str, seen_version: int) -> ProductionRange:
    """The owner holds the range for real, and says why: from now on the models reckon with it as it stands.

    ShopError without a note; Conflict where somebody decided since, or the range was learned anew.
    """
    return _decide(range, by, note, seen_version, RangeState.CONFIRMED)


def range_dismiss(*, range: ProductionRange, by: User, note: str, seen_version: int) -> ProductionRange:
    """The owner holds the range for chance or selection, and says why: no model reckons with it, and it is not found
    again. Errors as range_confirm."""
    return _decide(range, by, note, seen_version, RangeState.DISMISSED)


@transaction.atomic
def range_reopen(*, range: ProductionRange, by: User, note: str, seen_version: int) -> ProductionRange:
    """Take the decision back: the range is a proposal again. What was decided, and why, stays in the trail, with the
    note of who took it back where there is one. Refused, Conflict as range_confirm."""
    require(by, "range.decide")
    now = _locked(range, seen_version)
    if now.state not in (RangeState.CONFIRMED, RangeState.DISMISSED):
        raise Conflict(_("Nothing was decided of this range that could be taken back."))
    now.state, now.note, now.decided_by, now.decided_at = RangeState.PROPOSED, "", None, None
    _keep(now)
    return _told(now, by, "range.reopened", _("Took back what was decided of {range}."), note.strip())


@transaction.atomic
def _decide(found: ProductionRange, by: User, note: str, seen_version: int, state: RangeState) -> ProductionRange:
    require(by, "range.decide")
    note = note.strip()
    if not note:
        raise ShopError(_("Say why: the note stays with the range and with the data it was found in."))
    if len(note) > NOTE_AT_MOST:
        words = _("The note has {count} characters; expected at most {most}.")
        raise ShopError(words.format(count=len(note), most=NOTE_AT_MOST))
    now = _locked(found, seen_version)
    if now.state != RangeState.PROPOSED:
        raise Conflict(_("This range is no longer proposed: {state}.").format(state=RangeState(now.state).label))
    now.state, now.note, now.decided_by, now.decided_at = state, note, by, timezone.now()
    _keep(now)
    if state == RangeState.CONFIRMED:
        return _told(now, by, "range.confirmed", _("Confirmed {range}."), note)
    return _told(now, by, "range.dismissed", _("Dismissed {range}."), note)


def _locked(found: ProductionRange, seen_version: int) -> ProductionRange:
    learn_alone()  # first, as a learning that is just being kept takes it: it writes ranges and models, too
    now = ProductionRange.objects.select_for_update(of=("self",)).select_related("decided_by").get(pk=found.pk)
    if now.version == seen_version:
        return now
    if now.decided_by is not None:
        words = _("{who} has decided of this range meanwhile: {state}, {note}")
        raise Conflict(words.format(who=now.decided_by, state=RangeState(now.state).label, note=now.note))
    raise Conflict(_("This range has changed since you opened the page. Look at it again, then decide."))


def _keep(now: ProductionRange) -> None:
    """The decision, and the mark on the models that follow from it."""
    now.version += 1
    try:
        with transaction.atomic():
            now.save(update_fields=["state", "note", "decided_by", "decided_at", "version"])
    except IntegrityError as error:
        raise Conflict(_("The same months of this part are proposed or confirmed already.")) from error
    models_stale([(now.system, now.part)])
    learning_follow()


def _told(now: ProductionRange, by: User, kind: str, words: str, note: str) -> ProductionRange:
    told = words.format(range=range_words(now)) + (f" {note}" if note else "")
    trail_record(by=by, kind=kind, words=told, link=now.get_absolute_url())
    return now
