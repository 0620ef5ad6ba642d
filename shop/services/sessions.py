"""Where people are signed in: one row a session, ended here and felt at the session's next request."""

import datetime as dt
import hashlib
from importlib import import_module

from django.conf import settings
from django.db import transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.models import SignedIn, User
from shop.permissions import require
from shop.services.trail import trail_record

AGENT_AT_MOST = 200
KEPT = dt.timedelta(days=90)
"""How long a sign-in that is over stays in the books, for who asks what happened."""


def key_hash(session_key: str) -> str:
    return hashlib.sha256(session_key.encode()).hexdigest()


def session_begin(*, user: User, session_key: str, agent: str, address: str | None) -> SignedIn:
    """Keep that `user` has signed in. Twice for the same session gives the row that is there."""
    now = timezone.now()
    row, _new = SignedIn.objects.get_or_create(
        key=key_hash(session_key),
        defaults={
            "user": user,
            "agent": agent.replace("\0", "")[:AGENT_AT_MOST],
            "address": address,
            "since": now,
            "seen_at": now,
        },
    )
    return row


def session_seen(*, row: SignedIn) -> None:
    SignedIn.objects.filter(pk=row.pk).update(seen_at=timezone.now())


def session_moved(*, earlier_key: str, session_key: str) -> None:
    """Django gave the session another key; it is the same browser."""
    SignedIn.objects.filter(key=key_hash(earlier_key)).update(key=key_hash(session_key))


def session_closed(*, session_key: str) -> None:
    """The person has signed out there."""
    SignedIn.objects.filter(key=key_hash(session_key), ended_at=None).update(ended_at=timezone.now())


def sessions_end(*, user: User, except_key: str = "") -> int:
    """End all of a person's sessions but the one with the key; how many that were."""
    rows = SignedIn.objects.filter(user=user, ended_at=None)
    if except_key:
        rows = rows.exclude(key=key_hash(except_key))
    return rows.update(ended_at=timezone.now())


@transaction.atomic
def session_end(*, row: SignedIn, by: User) -> None:
    """End one session: one's own, or anybody's by who manages the people. Ended already is no mistake."""
    if row.user_id != by.pk:
        require(by, "people.manage")
    if not SignedIn.objects.filter(pk=row.pk, ended_at=None).update(ended_at=timezone.now()):
        return
    words = _("A sign-in of {person} was ended.").format(person=row.user)
    trail_record(by=by, kind="person.signed-out", words=words)


@transaction.atomic
def sessions_end_others(*, user: User, session_key: str) -> int:
    """End every session of one's own but this one; how many that were."""
    count = sessions_end(user=user, except_key=session_key)
    if count:
        words = _("All other sign-ins of {person} were ended.").format(person=user)
        trail_record(by=user, kind="person.signed-out", words=words)
    return count


def sessions_tidy() -> int:
    """Remove the rows of sign-ins that ended, or ran out unseen, more than KEPT ago, and sessions that ran out; how
    many rows that were. A session is good for no longer than its cookie, so nobody comes back without a row by this."""
    long_ago = timezone.now() - KEPT
    ran_out = long_ago - dt.timedelta(seconds=settings.SESSION_COOKIE_AGE)
    gone = Q(ended_at__lt=long_ago) | Q(ended_at=None, seen_at__lt=ran_out)
    count, _of_what = SignedIn.objects.filter(gone).delete()
    import_module(settings.SESSION_ENGINE).SessionStore.clear_expired()
    return count
