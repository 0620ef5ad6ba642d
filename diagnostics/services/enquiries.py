"""Enquiries: kept once, turned into a job, closed, erased on request.

The trail names an enquiry by its number, never by who sent it: the trail is for good, the contact is not.
"""

from collections.abc import Mapping
from dataclasses import astuple, dataclass

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext as _

from diagnostics.engine.errors import CaseError
from diagnostics.engine.questions import checked, told_of
from diagnostics.models import Enquiry, EnquiryState, SystemRevision
from diagnostics.selectors.enquiries import told_text
from diagnostics.selectors.systems import system_of
from diagnostics.selectors.words import complaint_words
from shop.errors import Conflict, ShopError
from shop.models import Car, Job, User
from shop.permissions import require
from shop.services import car_update, customer_create, job_open, trail_record

TITLE_AT_MOST = 140


@dataclass(frozen=True, slots=True)
class Contact:
    """Who asks and how to answer; `car` and `words` as the customer puts them."""

    name: str
    phone: str = ""
    email: str = ""
    car: str = ""
    words: str = ""


@transaction.atomic
def enquiry_send(
    *, revision: SystemRevision | None, answers: Mapping[str, str], contact: Contact, by: User | None = None
) -> Enquiry:
    """Keep what was told; `by` None: by the customer. The same sent again while it waits gives the one that is kept.

    ShopError for an answer that nobody offered, without a name or a way to answer, or with nothing told.
    """
    if by is not None:
        require(by, "enquiry.write")
    if not contact.name.strip() or not (contact.phone.strip() or contact.email.strip()):
        raise ShopError(_("Leave a name and a telephone number or an e-mail address: there is no other way to answer."))
    enquiry = Enquiry(revision=revision, by=by, created_at=timezone.now())
    enquiry.name, enquiry.phone, enquiry.email = contact.name.strip(), contact.phone.strip(), contact.email.strip()
    enquiry.car_words, enquiry.words = contact.car.strip(), contact.words.strip()
    if revision is not None:
        _tell(enquiry, revision, answers)
    if not enquiry.answers and not enquiry.words:
        raise ShopError(_("Say in your own words what the top does and what it does not."))
    enquiry.digest = _digest(enquiry, contact)
    try:
        with transaction.atomic():
            enquiry.save()
    except IntegrityError:
        there = Enquiry.objects.filter(digest=enquiry.digest, state=EnquiryState.NEW).first()
        if there is None:
            raise
        return there
    words = _("Enquiry {number} came in.") if by is None else _("Took down enquiry {number}.")
    _trail(enquiry, by, "enquiry.sent", words)
    return enquiry


def _tell(enquiry: Enquiry, revision: SystemRevision, answers: Mapping[str, str]) -> None:
    system = system_of(revision)
    try:
        enquiry.answers = checked(system, answers)
    except CaseError as error:
        raise ShopError(str(error)) from error
    told = told_of(system, enquiry.answers)
    enquiry.complaint = told.complaint.model_dump(exclude_none=True) if told.complaint else {}
    enquiry.recent_work = list(told.recent_work)


def _digest(enquiry: Enquiry, contact: Contact) -> str:
    """What was sent, as a keyed hash: the contact cannot be read back from it."""
    told = [str(enquiry.revision_id), *(f"{name}={value}" for name, value in enquiry.answers.items())]
    text = "\n".join([*told, *(value.strip().casefold() for value in astuple(contact))])
    return salted_hmac("diagnostics.enquiry", text, algorithm="sha256").hexdigest()


@transaction.atomic
def enquiry_take(*, enquiry: Enquiry, by: User, car: Car, as_owner: bool = False) -> Job:
    """A booked job on the car with what was told as its complaint. `as_owner`: the sender becomes a customer and the
    owner of a car that has none. Conflict when the enquiry waits no more."""
    require(by, "enquiry.write")
    enquiry = _waiting(enquiry)
    if as_owner and car.owner_id is None and enquiry.erased_at is None:
        _make_owner(enquiry, by, car)
    job = job_open(car=car, by=by, title=_title(enquiry), complaint=told_text(enquiry))
    enquiry.state, enquiry.job = EnquiryState.TAKEN, job
    enquiry.save(update_fields=["state", "job"])
    words = _("{number} comes from enquiry {enquiry}.").format(number=job.number, enquiry=enquiry.number)
    trail_record(by=by, job=job, kind="enquiry.taken", words=words, link=enquiry.get_absolute_url())
    return job


def _title(enquiry: Enquiry) -> str:
    complaint = ""
    if enquiry.revision is not None and enquiry.complaint:
        complaint = complaint_words(system_of(enquiry.revision), enquiry.told)
    return (complaint or _("Top does not do what it should"))[:TITLE_AT_MOST]


def _make_owner(enquiry: Enquiry, by: User, car: Car) -> None:
    customer = customer_create(by=by, name=enquiry.name, phone=enquiry.phone, email=enquiry.email)
    car_update(
        car=car,
        by=by,
        vin=car.vin,
        maker=car.maker,
        model=car.model,
        made_on=car.made_on,
        plate=car.plate,
        climate=car.climate,
        system=car.system,
        owner=customer,
    )


@transaction.atomic
def enquiry_close(*, enquiry: Enquiry, by: User) -> Enquiry:
    """No job comes of it. Conflict when it waits no more."""
    require(by, "enquiry.write")
    enquiry = _waiting(enquiry)
    enquiry.state = EnquiryState.CLOSED
    enquiry.save(update_fields=["state"])
    _trail(enquiry, by, "enquiry.closed", _("Closed enquiry {number} without a job."))
    return enquiry


@transaction.atomic
def enquiry_erase(*, enquiry: Enquiry, by: User) -> Enquiry:
    """Erase who sent it and every free word; the answers to the questions stay. Erasing again changes nothing."""
    require(by, "enquiry.erase")
    enquiry = Enquiry.objects.select_for_update(of=("self",)).get(pk=enquiry.pk)
    if enquiry.erased_at is not None:
        return enquiry
    enquiry.name = enquiry.phone = enquiry.email = enquiry.car_words = enquiry.words = enquiry.digest = ""
    enquiry.erased_at = timezone.now()
    enquiry.save()
    _trail(enquiry, by, "enquiry.erased", _("Erased the contact of enquiry {number}; its answers stay."))
    return enquiry


def _waiting(enquiry: Enquiry) -> Enquiry:
    """The enquiry as it is now, locked; of two people who press the button one is told."""
    Enquiry.objects.select_for_update().get(pk=enquiry.pk)  # held first: a join would tell of before the wait
    now = Enquiry.objects.select_related("revision", "job").get(pk=enquiry.pk)
    if now.job is not None:
        words = _("Enquiry {number} has become job {job} already.")
        raise Conflict(words.format(number=now.number, job=now.job.number))
    if now.state != EnquiryState.NEW:
        raise Conflict(_("Enquiry {number} is closed already.").format(number=now.number))
    return now


def _trail(enquiry: Enquiry, by: User | None, kind: str, words: str) -> None:
    text = words.format(number=enquiry.number)
    trail_record(by=by, kind=kind, words=text, link=enquiry.get_absolute_url())
