"""Setting up, asking for and taking away the second factor. A code counts once, whoever comes first."""

from django.contrib.auth.hashers import check_password, make_password
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop import second_factor as codes
from shop.errors import Conflict, Refused, ShopError
from shop.hidden import hide, shown
from shop.limits import count
from shop.models import RecoveryCode, SecondFactor, User
from shop.permissions import require
from shop.services.sessions import sessions_end
from shop.services.trail import trail_record

TRIES_AN_HOUR = 20
"""Codes of one person that are looked at within an hour, from wherever: with three steps that count at a time, one of
seventeen thousand who guess that often gets in."""


def has_second_factor(user: User) -> bool:
    return SecondFactor.objects.filter(user=user, confirmed_at__isnull=False).exists()


@transaction.atomic
def second_factor_set_up(*, user: User, secret: str, code: str) -> list[str]:
    """Keep `secret` (base32) for a person whose telephone has just shown `code` of it; the recovery codes, which can be
    read this once. ShopError for a wrong code, Conflict where there is a second factor already."""
    step = codes.step_of(secret, codes.tidy(code), at=timezone.now(), after=0)
    if step is None:
        raise ShopError(_("This code does not fit. Check that the telephone’s clock is right and type the next one."))
    try:
        with transaction.atomic():
            SecondFactor.objects.create(user=user, secret=hide(secret), confirmed_at=timezone.now(), last_step=step)
    except IntegrityError as error:
        raise Conflict(_("A second factor is set up already: take that one away first.")) from error
    trail_record(by=user, kind="person.second-factor", words=_("{person} set up a second factor.").format(person=user))
    return _recovery_codes_make(user)


def code_counts(*, user: User, code: str) -> bool:
    """Whether `code` lets this person through now; it then never does again. TooMany after too many tries an hour,
    ShopError where the secret cannot be read with this installation's key."""
    count("second-factor", str(user.pk), most=TRIES_AN_HOUR, words=_(
        "Too many codes were tried for this person within an hour. Try again later, or ask the owner of the shop."
    ))  # fmt: skip
    tidied = codes.tidy(code)
    return _recovery_counts(user, tidied) if codes.is_recovery(tidied) else _time_code_counts(user, tidied)


def _time_code_counts(user: User, code: str) -> bool:
    factor = SecondFactor.objects.filter(user=user, confirmed_at__isnull=False).first()
    if factor is None:
        return False
    secret = shown(factor.secret)
    if secret is None:
        raise ShopError(
            _("The second factor cannot be read with this installation’s key. Use a recovery code, or ask the owner.")
        )
    step = codes.step_of(secret, code, at=timezone.now(), after=factor.last_step)
    if step is None:
        return False
    # Asked of the row: of two requests with the same code only one moves the step.
    return SecondFactor.objects.filter(pk=factor.pk, last_step__lt=step).update(last_step=step) == 1


def _recovery_counts(user: User, code: str) -> bool:
    for row in RecoveryCode.objects.filter(user=user, used_at=None):
        if check_password(code, row.code_hash):
            return RecoveryCode.objects.filter(pk=row.pk, used_at=None).update(used_at=timezone.now()) == 1
    return False


@transaction.atomic
def recovery_codes_renew(*, user: User, code: str) -> list[str]:
    """Ten new recovery codes in the place of the old ones, for a person who has just shown a code that counts."""
    _require_code(user, code)
    words = _("{person} made new recovery codes.").format(person=user)
    trail_record(by=user, kind="person.second-factor", words=words)
    return _recovery_codes_make(user)


@transaction.atomic
def second_factor_remove(*, user: User, code: str) -> None:
    """Take one's own second factor away, with a code that counts: another telephone is then set up anew."""
    _require_code(user, code)
    _take_away(user)
    words = _("{person} took their second factor away.").format(person=user)
    trail_record(by=user, kind="person.second-factor", words=words)


@transaction.atomic
def second_factor_reset(*, person: User, by: User | None) -> None:
    """Take away another person's second factor, whose telephone is lost; they are signed out everywhere and set it up
    anew. One's own asks for a code instead: a browser left open would else be enough. `by` None: from the shop's
    computer itself, where the only owner has lost telephone and recovery codes."""
    if by is not None:
        require(by, "people.manage")
    if by is not None and person.pk == by.pk:
        raise Refused(_("Take your own second factor away under My account: that asks for a code."))
    if not has_second_factor(person):
        raise Conflict(_("{person} has no second factor.").format(person=person))
    _take_away(person)
    sessions_end(user=person)
    words = _("The second factor of {person} was reset.").format(person=person)
    trail_record(by=by, kind="person.second-factor", words=words)


def _require_code(user: User, code: str) -> None:
    if not code_counts(user=user, code=code):
        raise ShopError(_("This code does not count: each counts once and for about half a minute. Type the next one."))


def _take_away(user: User) -> None:
    SecondFactor.objects.filter(user=user).delete()
    RecoveryCode.objects.filter(user=user).delete()


def _recovery_codes_make(user: User) -> list[str]:
    RecoveryCode.objects.filter(user=user).delete()
    made = [codes.new_recovery_code() for _number in range(codes.RECOVERY_CODES)]
    RecoveryCode.objects.bulk_create(
        RecoveryCode(user=user, code_hash=make_password(codes.tidy(code))) for code in made
    )
    return made
