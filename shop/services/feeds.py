"""Calendar links: made, shown once, revoked. Only the hash of a secret is kept."""

import datetime as dt
import secrets

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.errors import Conflict, Refused
from shop.models import Bay, FeedLink, User
from shop.permissions import may, require
from shop.services.people import token_hash
from shop.services.trail import trail_record


@transaction.atomic
def feed_make(*, by: User, bay: Bay | None = None) -> tuple[FeedLink, str]:
    """The address of one's own calendar, or of a bay's; the link and its secret, which is kept nowhere. An earlier one
    of the same calendar opens nothing from now on. Conflict for a bay that was given up."""
    require(by, "clock.write" if bay is None else "plan.write")
    if bay is not None:
        bay = Bay.objects.select_for_update().get(pk=bay.pk)
        if not bay.active:
            raise Conflict(_("{bay} was given up: nothing is booked into it any more.").format(bay=bay))
    person = by if bay is None else None
    if person is not None:
        User.objects.select_for_update().get(pk=person.pk)  # two at once would both find no earlier link
    feeds_revoke(person=person, bay=bay)
    token = secrets.token_urlsafe(32)
    link = FeedLink.objects.create(
        person=person, bay=bay, token_hash=token_hash(token), made_at=timezone.now(), made_by=by
    )
    trail_record(by=by, kind="feed.made", words=_("Calendar link of {whose} made.").format(whose=bay or person))
    return link, token


@transaction.atomic
def feed_revoke(*, link: FeedLink, by: User) -> None:
    """The address opens nothing any more: by whose calendar it is, who made it, or who manages people."""
    if by.pk not in (link.person_id, link.made_by_id) and not may(by, "people.manage"):
        raise Refused(_("Your role does not allow this. Ask the owner of the shop."))
    if not FeedLink.objects.filter(pk=link.pk, revoked_at=None).update(revoked_at=timezone.now()):
        raise Conflict(_("This link was revoked already."))
    words = _("Calendar link of {whose} revoked.").format(whose=link.bay or link.person)
    trail_record(by=by, kind="feed.revoked", words=words)


def feeds_revoke(*, person: User | None = None, bay: Bay | None = None) -> None:
    """Inside another's transaction."""
    FeedLink.objects.filter(person=person, bay=bay, revoked_at=None).update(revoked_at=timezone.now())


def feed_given(*, link: FeedLink, digest: str) -> dt.datetime:
    """Since when the calendar is as its digest says. Kept with the link: a removed booking leaves no row to ask."""
    if link.digest != digest or link.digest_at is None:
        link.digest, link.digest_at = digest, timezone.now()
        link.save(update_fields=["digest", "digest_at"])
    return link.digest_at
