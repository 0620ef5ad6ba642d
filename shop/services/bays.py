"""The bays of the shop, and the days on which people are away."""

import datetime as dt

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.errors import Conflict, Refused, ShopError
from shop.models import Away, Bay, BayBooking, User
from shop.permissions import may, require
from shop.services.feeds import feeds_revoke
from shop.services.trail import trail_record
from shop.words import day_words

AWAY_AT_MOST = dt.timedelta(days=366)


@transaction.atomic
def bay_add(*, name: str, by: User) -> Bay:
    """A new bay. Conflict where one has the name, also one that was given up."""
    require(by, "bay.write")
    name = _name(name)
    try:
        with transaction.atomic():
            bay = Bay.objects.create(name=name)
    except IntegrityError as error:
        raise _taken(name) from error
    trail_record(by=by, kind="bay.added", words=_("Bay {name} added.").format(name=name))
    return bay


@transaction.atomic
def bay_rename(*, bay: Bay, name: str, by: User) -> Bay:
    """Another name for a bay; its bookings stay, and calendar readers hear of it as of any change."""
    require(by, "bay.write")
    name, row = _name(name), Bay.objects.select_for_update().get(pk=bay.pk)
    earlier, row.name = row.name, name
    if earlier == name:
        return row
    try:
        with transaction.atomic():
            row.save(update_fields=["name"])
    except IntegrityError as error:
        raise _taken(name) from error
    trail_record(
        by=by, kind="bay.renamed", words=_("Bay {earlier} is called {name}.").format(earlier=earlier, name=name)
    )
    return row


@transaction.atomic
def bay_give_up(*, bay: Bay, by: User) -> Bay:
    """Nothing is booked into this bay any more; what was stays in the books. Conflict where something is ahead."""
    require(by, "bay.write")
    row = Bay.objects.select_for_update().get(pk=bay.pk)
    if not row.active:
        raise Conflict(_("{bay} was given up already.").format(bay=row))
    ahead = BayBooking.objects.filter(bay=row, ends_at__gt=timezone.now()).count()
    if ahead:
        words = ngettext(
            "{bay} still has {count} booking from now on; move it to another bay first.",
            "{bay} still has {count} bookings from now on; move them to another bay first.",
            ahead,
        )
        raise Conflict(words.format(bay=row, count=ahead))
    row.active = False
    row.save(update_fields=["active"])
    feeds_revoke(bay=row)
    trail_record(by=by, kind="bay.given_up", words=_("Bay {name} given up.").format(name=row))
    return row


@transaction.atomic
def bay_take_up(*, bay: Bay, by: User) -> Bay:
    """A bay that was given up is used again."""
    require(by, "bay.write")
    row = Bay.objects.select_for_update().get(pk=bay.pk)
    if row.active:
        raise Conflict(_("{bay} is in use.").format(bay=row))
    row.active = True
    row.save(update_fields=["active"])
    trail_record(by=by, kind="bay.added", words=_("Bay {name} is used again.").format(name=row))
    return row


def _name(name: str) -> str:
    name = " ".join(name.split())
    if not name:
        raise ShopError(_("Give the bay a name."))
    return name


def _taken(name: str) -> Conflict:
    return Conflict(_("There is a bay {name} already; expected another name.").format(name=name))


@transaction.atomic
def away_add(*, person: User, first_day: dt.date, last_day: dt.date, by: User, words: str = "") -> Away:
    """Days, both included, on which the person does not work: entered by themselves or by who manages people.

    ShopError where the last day comes before the first, the stretch is longer than a year, or is entered already.
    """
    _own_or_manager(person, by)
    if last_day < first_day:
        raise ShopError(
            _("The last day, {last}, comes before the first, {first}.").format(
                last=day_words(last_day), first=day_words(first_day)
            )
        )
    if last_day - first_day >= AWAY_AT_MOST:
        raise ShopError(_("That is more than a year; expected at most 366 days. Is the year right?"))
    User.objects.select_for_update().get(pk=person.pk)
    there = person.away.filter(first_day__lte=last_day, last_day__gte=first_day).first()
    if there is not None:
        raise Conflict(
            _("{person} is entered as away from {first} to {last} already.").format(
                person=person, first=day_words(there.first_day), last=day_words(there.last_day)
            )
        )
    made = Away.objects.create(person=person, first_day=first_day, last_day=last_day, words=words.strip())
    trail_record(by=by, kind="away.added", words=_("{person} is away {days}.").format(person=person, days=_days(made)))
    return made


@transaction.atomic
def away_remove(*, away: Away, by: User) -> None:
    """The person works on these days after all."""
    _own_or_manager(away.person, by)
    words = _("{person} is not away {days} after all.").format(person=away.person, days=_days(away))
    if not Away.objects.filter(pk=away.pk).delete()[0]:
        raise Conflict(_("This was taken out already."))
    trail_record(by=by, kind="away.removed", words=words)


def _own_or_manager(person: User, by: User) -> None:
    require(by, "clock.write")
    if person.pk != by.pk and not may(by, "people.manage"):
        raise Refused(_("Your role does not allow this. Ask the owner of the shop."))


def _days(away: Away) -> str:
    """Without the reason, which is the person's own."""
    first, last = day_words(away.first_day), day_words(away.last_day)
    if first == last:
        return _("on {day}").format(day=first)
    return _("from {first} to {last}").format(first=first, last=last)
