"""Commissions: sent by a buyer, taken on as a job or declined, done with the certificate, withdrawn, erased.

The trail names a commission by its number, never by who sent it: the trail is for good, the buyer is not.
"""

import datetime as dt
import secrets
from dataclasses import astuple, dataclass

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from reports.commission.mails import mail_later
from reports.commission.models import WORDS_OF_THE_BUYER, Commission, CommissionLink, CommissionState
from reports.commission.selectors import car_of, customer_of, links_open, terms_shown
from reports.inspection.services import inspection_open
from shop.errors import Conflict, ShopError
from shop.lines import reason_of
from shop.models import Car, Customer, Job, OwnerChange, ShopProfile, User
from shop.permissions import require
from shop.services import car_create, job_open, note_add, trail_record
from shop.services.people import token_hash
from shop.words import day_words

FOLLOWED_FOR = dt.timedelta(days=90)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a buyer typed: the car, where and when it can be seen, what is wanted, and who asks."""

    maker: str
    model: str
    year: int
    place: str
    wanted: str
    from_on: dt.date
    until_on: dt.date
    name: str
    email: str
    phone: str = ""
    vin: str = ""
    top: str = "unknown"
    seller_phone: str = ""
    seller_consent_by: str = ""


@dataclass(frozen=True, slots=True)
class CarFacts:
    """What a car must have to be taken into the books; not needed of one that is in them."""

    maker: str
    model: str
    made_on: dt.date | None
    year_only: bool = False
    system: str = ""


@transaction.atomic
def commission_send(*, wanted: Wanted, terms: str) -> tuple[Commission, str]:
    """Keep a commission and the terms that were accepted; with it the secret of its link. The same sent again while it
    waits gives the one that is kept, and another link to it.

    ShopError where the shop takes none, for days that are over, for a seller's number without their consent; Conflict
    where the terms are no longer those that were read.
    """
    shop = ShopProfile.objects.first()
    stand = terms_shown(shop)
    if shop is None or shop.inspection_fee is None:
        raise ShopError(_("This shop takes no commissions over this page. Call or write instead."))
    if "\n".join(terms.splitlines()) != "\n".join(stand.splitlines()):
        raise Conflict(_("Fee or terms have changed since you opened the page. Read them again, then send it."))
    if wanted.from_on < timezone.localdate() or wanted.until_on < wanted.from_on:
        raise ShopError(_("Give days from today on, the first one before the last."))
    if wanted.seller_phone and not wanted.seller_consent_by:
        raise ShopError(_("Give the seller’s telephone only with their consent, and say who gave it."))
    made = Commission(fee=shop.inspection_fee, currency=shop.currency, terms=stand, accepted_at=timezone.now())
    for field in wanted.__dataclass_fields__:
        setattr(made, field, getattr(wanted, field))
    made.digest = _digest(wanted, stand)
    try:
        with transaction.atomic():
            made.save()
    except IntegrityError:
        there = Commission.objects.filter(digest=made.digest, state=CommissionState.ASKED).first()
        if there is None:
            raise
        return there, _link(there)
    _tell(made, None, "commission.sent", _("Commission {number} came in."))
    token = _link(made)
    mail_later(made, "received", token)
    return made, token


def _digest(wanted: Wanted, terms: str) -> str:
    """What was sent, as a keyed hash: nobody can be read back from it."""
    text = "\n".join([terms, *(str(value).strip().casefold() for value in astuple(wanted))])
    return salted_hmac("reports.commission", text, algorithm="sha256").hexdigest()


@transaction.atomic
def commission_take(
    *, commission: Commission, by: User, vin: str, facts: CarFacts, title: str, appointment_on: dt.date
) -> Job:
    """In one act the customer (found by e-mail, or made), the car (found by VIN, or made), and a booked job on it that
    inspects by plan. Of two clicks the second gets the job of the first.

    ShopError for a day that is over or a new car whose facts are missing; Conflict where it was declined or withdrawn.
    The buyer owns no car by this: the car's owner stays as it is.
    """
    require(by, "enquiry.write")
    row = _locked(commission)
    if row.job is not None and row.state != CommissionState.WITHDRAWN:
        return row.job
    _refuse_unless_asked(row)
    _refuse_past(appointment_on)
    car = car_of(vin) or _car(by, vin, facts)
    job = job_open(car=car, by=by, title=title, promised_on=appointment_on)
    inspection_open(job=job, by=by)
    words = _("From commission {number}: where the car stands and what is wanted is written there.")
    note_add(job=job, by=by, words=words.format(number=row.number))
    row.customer = customer_of(row.email)
    if row.customer is None:
        row.customer, row.customer_made = _customer(row, by), True
    row.state, row.job, row.appointment_on = CommissionState.TAKEN.value, job, appointment_on
    row.save()
    text = _("{job} comes from commission {number}.").format(job=job.number, number=row.number)
    trail_record(by=by, job=job, kind="commission.taken", words=text, link=row.get_absolute_url())
    mail_later(row, "taken", _link(row))
    return job


def _car(by: User, vin: str, facts: CarFacts) -> Car:
    if facts.made_on is None or not facts.maker.strip() or not facts.model.strip():
        raise ShopError(_("The car is not in the books yet: give its maker, model and production month."))
    return car_create(
        by=by, vin=vin, maker=facts.maker, model=facts.model, made_on=facts.made_on, year_only=facts.year_only,
        system=facts.system,
    )  # fmt: skip


def _customer(commission: Commission, by: User) -> Customer:
    """Not by customer_create, whose trail keeps the name for good: this one may be erased."""
    made = Customer.objects.create(name=commission.name, email=commission.email, phone=commission.phone)
    _tell(commission, by, "customer.created", _("New customer, from commission {number}."))
    return made


@transaction.atomic
def commission_decline(*, commission: Commission, by: User, reason: str) -> Commission:
    """ShopError without a reason, which the buyer reads; Conflict where it waits no more."""
    require(by, "enquiry.write")
    reason = reason_of(reason, _("Say why it is declined: the buyer reads it."))
    row = _locked(commission)
    _refuse_unless_asked(row)
    row.declined_reason = reason
    _end(row, CommissionState.DECLINED)
    _tell(row, by, "commission.declined", _("Commission {number} declined."))
    mail_later(row, "declined", _link(row))
    return row


@transaction.atomic
def commission_appoint(
    *, commission: Commission, by: User, appointment_on: dt.date, why: str = "", seen: dt.date | None = None
) -> Commission:
    """Move the appointment of one that was taken on, and tell the buyer; the day that the job is promised for goes
    along where it was the earlier appointment. `seen`: the appointment that whoever moves it has read; else that of
    `commission` as it was handed over. Of two who move it to one day the second gets what the first did.

    ShopError for a day that is over or on which it is already; Conflict where it is not taken on, its job is finished,
    or somebody else has moved it to another day meanwhile. `why` goes into the mail and is kept nowhere: it may speak
    of the buyer.
    """
    require(by, "enquiry.write")
    why, seen = reason_of(why), seen or commission.appointment_on
    row = _locked(commission)
    _refuse_unless_movable(row)
    earlier = row.appointment_on
    if earlier != seen:
        if earlier == appointment_on:
            return row
        words = _("Somebody has moved the appointment of {number} meanwhile, to {day}. Look whether to move it again.")
        raise Conflict(words.format(number=row.number, day=day_words(earlier)))
    if appointment_on == earlier:
        raise ShopError(_("The appointment is on this day already; give another one."))
    _refuse_past(appointment_on)
    row.appointment_on = appointment_on
    row.save(update_fields=["appointment_on"])
    # No lock of its own: who issues a certificate holds the job's key and waits for the commission.
    Job.objects.filter(commission=row.pk, promised_on=earlier).update(promised_on=appointment_on)
    words = _("Appointment of commission {number} moved from {earlier} to {day}.")
    _tell(row, by, "commission.moved", words, earlier=day_words(earlier), day=day_words(appointment_on))
    if row.erased_at is None:
        mail_later(row, "moved", _link(row), earlier=earlier, why=why)
    return row


@transaction.atomic
def commission_withdraw(*, commission: Commission) -> Commission:
    """By the buyer, over the link. The shop decides what becomes of a job that was opened. Withdrawing again changes
    nothing; Conflict where it has ended otherwise."""
    row = _locked(commission)
    if row.state == CommissionState.WITHDRAWN:
        return row
    if row.state not in (CommissionState.ASKED, CommissionState.TAKEN):
        raise Conflict(_("This commission has ended already and cannot be withdrawn."))
    _end(row, CommissionState.WITHDRAWN)
    _tell(row, None, "commission.withdrawn", _("The buyer has withdrawn commission {number}."))
    mail_later(row, "withdrawn")
    return row


def commission_done(job: Job) -> None:
    """A certificate of the job was just issued, in this transaction: the buyer is told and may see it."""
    row = Commission.objects.select_for_update(of=("self",)).filter(job=job).first()
    if row is None or row.state not in (CommissionState.TAKEN, CommissionState.DONE):
        return
    if row.state == CommissionState.TAKEN:
        _end(row, CommissionState.DONE)
        _tell(row, None, "commission.done", _("Commission {number} is done: its certificate is issued."))
    if row.erased_at is None:
        mail_later(row, "certificate", _link(row))


@transaction.atomic
def link_send(*, commission: Commission, by: User) -> str:
    """Mail a new link; the earlier ones stay as they are. Its secret, which is kept nowhere."""
    require(by, "enquiry.write")
    row = _locked(commission)
    if row.erased_at is not None:
        raise Conflict(
            _("The buyer of {number} is erased: there is nobody to send a link to.").format(number=row.number)
        )
    token = _link(row)
    _tell(row, by, "commission.link", _("Link of commission {number} sent again."))
    mail_later(row, "link", token)
    return token


@transaction.atomic
def links_revoke(*, commission: Commission, by: User) -> int:
    """From now on no link that was sent before opens the commission. How many were open."""
    require(by, "enquiry.write")
    row = _locked(commission)
    closed = links_open(row).update(revoked_at=timezone.now())
    if closed:
        _tell(row, by, "commission.link", _("Links of commission {number} revoked."))
    return closed


@transaction.atomic
def commission_erase(*, commission: Commission, by: User) -> str:
    """Erase the buyer on request: name, addresses, words, links. A commission that waits is withdrawn by it; a job goes
    on and a certificate stays valid. What became of the customer's record, in a sentence; '' where erased before."""
    require(by, "commission.erase")
    row = _locked(commission)
    if row.erased_at is not None:
        return ""
    mail_later(row, "erased")
    told = _erase_customer(row)
    for field in WORDS_OF_THE_BUYER:
        setattr(row, field, "")
    row.customer, row.customer_made, row.mail_failed, row.erased_at = None, False, False, timezone.now()
    if row.state == CommissionState.ASKED:
        row.state, row.ended_at = CommissionState.WITHDRAWN.value, row.erased_at
    row.save()
    links_open(row).update(revoked_at=row.erased_at)
    _tell(row, by, "commission.erased", _("The buyer of commission {number} is erased on request."))
    return told


def _erase_customer(commission: Commission) -> str:
    """The customer's record goes with the commission only where it has no other reason: somebody who owns or owned a
    car of the books, or commissioned something else, stays a customer by that."""
    customer = commission.customer
    if customer is None:
        return _("There was no customer’s record of this commission.")
    customer = Customer.objects.select_for_update().get(pk=customer.pk)
    owned = OwnerChange.objects.filter(Q(earlier=customer) | Q(later=customer)).exists()
    if customer.cars.exists() or owned:
        return _("The customer’s record stays: it belongs to a car in the books too.")
    if not commission.customer_made:
        return _("The customer’s record stays: it was in the book before this commission.")
    other = customer.commissions.exclude(pk=commission.pk).first()
    if other is not None:
        other.customer_made = True  # the last one takes the record along
        other.save(update_fields=["customer_made"])
        return _("The customer’s record stays: it belongs to another commission too; erase that one as well.")
    customer.name, customer.email, customer.phone, customer.note = _("(erased)"), "", "", ""
    customer.save()
    return _("The customer’s record is anonymised.")


def _link(commission: Commission) -> str:
    token, now = secrets.token_urlsafe(32), timezone.now()
    CommissionLink.objects.create(
        commission=commission, token_hash=token_hash(token), made_at=now, expires_at=now + FOLLOWED_FOR
    )
    return token


def _end(row: Commission, state: CommissionState) -> None:
    """What was kept of the seller served to reach the car, and goes."""
    row.state, row.ended_at, row.seller_phone, row.seller_consent_by = state.value, timezone.now(), "", ""
    row.save()


def _locked(commission: Commission) -> Commission:
    """Held until the end of the transaction, and only then read with what it points at: to a row that it waited for
    PostgreSQL joins what stood there before the wait, and a job or customer made meanwhile would be none."""
    Commission.objects.select_for_update().get(pk=commission.pk)
    return Commission.objects.select_related("job__car", "customer").get(pk=commission.pk)


def _refuse_past(appointment_on: dt.date) -> None:
    if appointment_on < timezone.localdate():
        raise ShopError(_("The appointment lies in the past; expected today or later."))


def _refuse_unless_movable(row: Commission) -> None:
    if row.state != CommissionState.TAKEN:
        words = _("Commission {number} has no appointment to move: {state}.")
        raise Conflict(words.format(number=row.number, state=row.get_state_display()))
    if not row.is_movable:
        words = _("The job of commission {number} is finished; its appointment is over.")
        raise Conflict(words.format(number=row.number))


def _refuse_unless_asked(row: Commission) -> None:
    if row.state != CommissionState.ASKED:
        words = _("Commission {number} waits no more: {state}.")
        raise Conflict(words.format(number=row.number, state=row.get_state_display()))


def _tell(row: Commission, by: User | None, kind: str, words: str, **said: str) -> None:
    text = words.format(number=row.number, **said)
    trail_record(by=by, job=row.job, kind=kind, words=text, link=row.get_absolute_url())
