"""Who works here: invitations, roles, leaving. A shop is never without an owner."""

import datetime as dt
import hashlib
import secrets

from django.contrib.auth.base_user import BaseUserManager
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.errors import Conflict, ShopError
from shop.models import Invitation, Role, User
from shop.permissions import require
from shop.services.sessions import sessions_end
from shop.services.trail import trail_record

INVITED_FOR = dt.timedelta(days=7)


def tour_dismiss(*, user: User) -> None:
    """The person has seen the tour. Their own setting, no business of the shop's: no trail."""
    User.objects.filter(pk=user.pk).update(tour_dismissed_at=timezone.now())


def token_hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


@transaction.atomic
def invitation_make(*, by: User, name: str, email: str, role: str) -> tuple[Invitation, str]:
    """Invite somebody with a role; the invitation and the secret of its address, which is kept nowhere. Conflict where
    somebody works here, or is invited, with this address."""
    require(by, "people.manage")
    email = BaseUserManager.normalize_email(email)
    there = User.objects.filter(email__iexact=email, is_active=True).first()
    if there is not None:
        raise Conflict(_("{person} works here already with the address {email}.").format(person=there, email=email))
    now, token = timezone.now(), secrets.token_urlsafe(32)
    try:
        with transaction.atomic():
            made = Invitation.objects.create(
                name=name, email=email, role=Role(role).value, token_hash=token_hash(token),
                made_at=now, made_by=by, expires_at=now + INVITED_FOR,
            )  # fmt: skip
    except IntegrityError as error:
        raise Conflict(
            _("{email} is invited already: send that invitation again, or revoke it first.").format(email=email)
        ) from error
    words = _("Invited: {name}, {role}.").format(name=name, role=made.get_role_display())
    trail_record(by=by, kind="person.invited", words=words)
    return made, token


@transaction.atomic
def invitation_resend(*, invitation: Invitation, by: User) -> tuple[Invitation, str]:
    """A new address for seven days more; the one that was sent before is good for nothing. Conflict where it was
    accepted or revoked."""
    require(by, "people.manage")
    row, token = _open_locked(invitation), secrets.token_urlsafe(32)
    row.token_hash, row.expires_at = token_hash(token), timezone.now() + INVITED_FOR
    row.save(update_fields=["token_hash", "expires_at"])
    trail_record(by=by, kind="person.invited", words=_("Invited again: {name}.").format(name=row.name))
    return row, token


@transaction.atomic
def invitation_revoke(*, invitation: Invitation, by: User) -> None:
    require(by, "people.manage")
    row = _open_locked(invitation)
    row.revoked_at = timezone.now()
    row.save(update_fields=["revoked_at"])
    trail_record(by=by, kind="person.invited", words=_("Invitation of {name} revoked.").format(name=row.name))


@transaction.atomic
def invitation_accept(*, invitation: Invitation, username: str, password: str) -> User:
    """The invited person chooses how to sign in. Conflict where the invitation is good no more (used in another tab) or
    somebody else has just taken the name."""
    row = _open_locked(invitation)
    if row.token_hash != invitation.token_hash or row.expires_at <= timezone.now():
        raise Conflict(_("This invitation has run out or was replaced."))
    first, _space, last = row.name.rpartition(" ")
    try:
        with transaction.atomic():
            user = User.objects.create_user(
                username, email=row.email, password=password, role=row.role, first_name=first, last_name=last
            )
    except IntegrityError as error:
        raise Conflict(_("Somebody else has just taken the user name {name}.").format(name=username)) from error
    row.accepted_at, row.user = timezone.now(), user
    row.save(update_fields=["accepted_at", "user"])
    words = _("{person} joined as {role}.").format(person=user, role=user.get_role_display())
    trail_record(by=user, kind="person.joined", words=words)
    return user


def _open_locked(invitation: Invitation) -> Invitation:
    row = Invitation.objects.select_for_update().get(pk=invitation.pk)
    if row.accepted_at is not None:
        raise Conflict(_("This invitation was accepted already."))
    if row.revoked_at is not None:
        raise Conflict(_("This invitation was revoked."))
    return row


@transaction.atomic
def password_set(*, user: User, password: str, except_key: str = "") -> User:
    """A new password, checked by the form; it ends every session but the one with the key."""
    user.set_password(password)
    user.save(update_fields=["password"])
    sessions_end(user=user, except_key=except_key)
    trail_record(by=user, kind="person.password", words=_("{person} chose a new password.").format(person=user))
    return user


@transaction.atomic
def person_set_role(*, person: User, by: User, role: str) -> None:
    """Give somebody another role; they are signed out everywhere. Refused where the shop would have no owner."""
    row = _person_locked(person, by)
    wanted = Role(role)
    if wanted == row.role:
        return
    if wanted != Role.OWNER:
        _refuse_last_owner(row)
    earlier = row.get_role_display()
    row.role = wanted.value
    row.save(update_fields=["role"])
    sessions_end(user=row)
    words = _("Role of {person}: {role}, before {earlier}.").format(
        person=row, role=row.get_role_display(), earlier=earlier
    )
    trail_record(by=by, kind="person.role", words=words)


@transaction.atomic
def person_leave(*, person: User, by: User) -> None:
    """The person leaves: they cannot sign in any more, and all that they did stays theirs. Refused for the last
    owner."""
    row = _person_locked(person, by)
    if not row.is_active:
        raise Conflict(_("{person} has left already.").format(person=row))
    _refuse_last_owner(row)
    row.is_active = False
    row.save(update_fields=["is_active"])
    sessions_end(user=row)
    trail_record(by=by, kind="person.left", words=_("{person} has left.").format(person=row))


@transaction.atomic
def person_return(*, person: User, by: User) -> None:
    """Somebody who left is back, with the name, password and second factor of then."""
    row = _person_locked(person, by)
    if row.is_active:
        raise Conflict(_("{person} works here.").format(person=row))
    row.is_active = True
    row.save(update_fields=["is_active"])
    trail_record(by=by, kind="person.returned", words=_("{person} is back.").format(person=row))


def _person_locked(person: User, by: User) -> User:
    """The person as they are now. All owners are locked with them, in one order, and whoever asks must still be one:
    of two owners that take the role from each other at once the second is refused."""
    rows = User.objects.select_for_update().filter(role=Role.OWNER, is_active=True).order_by("pk")
    owners = {row.pk: row for row in rows}
    require(owners.get(by.pk) or User.objects.get(pk=by.pk), "people.manage")
    return owners.get(person.pk) or User.objects.select_for_update().get(pk=person.pk)


def _refuse_last_owner(person: User) -> None:
    if person.role != Role.OWNER or not person.is_active:
        return
    if User.objects.filter(role=Role.OWNER, is_active=True).exclude(pk=person.pk).exists():
        return
    raise ShopError(
        _("{person} is the last owner of the shop. Make somebody else an owner first.").format(person=person)
    )
