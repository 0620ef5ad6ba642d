"""Who works here, where they are signed in and what they did."""

import datetime as dt

from django.conf import settings
from django.db.models import Exists, Max, OuterRef, Q, QuerySet
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from shop.models import Invitation, RecoveryCode, SecondFactor, SignedIn, TrailEntry, User
from shop.selectors.base import TRAIL_FILTERS
from shop.services.people import token_hash

PERSON_FILTERS: dict[str, tuple[str | Promise, tuple[str, ...]]] = {
    **TRAIL_FILTERS,
    "people": (_("People"), ("person.",)),
}


def people() -> QuerySet[User]:
    """Everybody, who left last; each with `last_seen` and `has_factor`."""
    factor = SecondFactor.objects.filter(user=OuterRef("pk"), confirmed_at__isnull=False)
    found = User.objects.annotate(last_seen=Max("signed_in__seen_at"), has_factor=Exists(factor))
    return found.order_by("-is_active", "first_name", "last_name", "username")


def invitations_waiting() -> list[Invitation]:
    """Neither accepted nor revoked, those that have run out too: they can be sent again. Newest first."""
    waiting = Invitation.objects.filter(accepted_at=None, revoked_at=None)
    return list(waiting.select_related("made_by"))


def invitation_behind(token: str) -> Invitation | None:
    """The invitation that an address still opens; None for one that has run out, was used or revoked, or never was."""
    good = Invitation.objects.filter(accepted_at=None, revoked_at=None, expires_at__gt=timezone.now())
    return good.filter(token_hash=token_hash(token)).first()


def sessions_of(user: User) -> list[SignedIn]:
    """Where the person is signed in: not ended, and young enough for the browser still to have it. Last seen first."""
    oldest = timezone.now() - dt.timedelta(seconds=settings.SESSION_COOKIE_AGE)
    return list(SignedIn.objects.filter(user=user, ended_at=None, seen_at__gte=oldest))


def recovery_codes_left(user: User) -> int:
    return RecoveryCode.objects.filter(user=user, used_at=None).count()


def done_by(user: User, only: str = "", day: dt.date | None = None) -> QuerySet[TrailEntry]:
    """What the person did, newest first; `only` a key of PERSON_FILTERS, anything else means all; `day` in the shop's
    zone."""
    entries = TrailEntry.objects.filter(by=user).select_related("by", "job", "car")
    if only in PERSON_FILTERS:
        wanted = Q()
        for beginning in PERSON_FILTERS[only][1]:
            wanted |= Q(kind__startswith=beginning)
        entries = entries.filter(wanted)
    if day is not None:
        midnight = timezone.make_aware(dt.datetime.combine(day, dt.time()))
        after = timezone.make_aware(dt.datetime.combine(day + dt.timedelta(days=1), dt.time()))
        entries = entries.filter(at__gte=midnight, at__lt=after)
    return entries.order_by("-at", "-pk")
