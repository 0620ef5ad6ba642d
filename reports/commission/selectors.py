"""The reads of commissions: what the counter sees, and what the buyer sees behind the private link."""

from dataclasses import dataclass

from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from reports.commission.models import Commission, CommissionLink, CommissionState
from reports.document.content import Certificate as Content
from reports.inspection.selectors import inspection_of, standing_of
from reports.models import Certificate, CertificateState
from reports.selectors import content_of
from shop.estimates import money_words
from shop.models import Car, Customer, Job, ShopProfile, Stage
from shop.services.people import token_hash

LATELY = 30


def terms_shown(shop: ShopProfile | None) -> str:
    """Fee and terms word by word as a buyer accepts them; '' where the shop takes no commissions from outside."""
    if shop is None or shop.inspection_fee is None:
        return ""
    fee = _("The inspection costs {fee}, tax included.").format(fee=money_words(shop.inspection_fee, shop.currency))
    return f"{fee}\n{shop.inspection_terms}"


def commissions_waiting() -> list[Commission]:
    """Those that nobody has answered yet, the oldest first."""
    return list(Commission.objects.filter(state=CommissionState.ASKED).order_by("accepted_at", "pk"))


def commissions_answered() -> list[Commission]:
    rows = Commission.objects.exclude(state=CommissionState.ASKED).select_related("job__car")
    return list(rows[:LATELY])


def customer_of(email: str) -> Customer | None:
    """Who is in the customers' book with this address; the oldest of several."""
    return Customer.objects.filter(email__iexact=email).order_by("pk").first() if email else None


def car_of(vin: str) -> Car | None:
    """The car with this VIN; of one that was written down twice the one that is kept."""
    car = Car.objects.select_related("merged_into").filter(vin=vin).first() if vin else None
    return (car.merged_into or car) if car else None


def link_of(token: str) -> CommissionLink | None:
    rows = CommissionLink.objects.select_related("commission__job__car")
    return rows.filter(token_hash=token_hash(token)).first()


def links_open(commission: Commission) -> QuerySet[CommissionLink]:
    return commission.links.filter(revoked_at=None, expires_at__gt=timezone.now())


def client_of(job: Job) -> str:
    """Who is the client of a job's certificate, as it stands there for good. A commission is named by its number: the
    car's owner may be the seller, and the buyer may ask to be erased while the certificate stays."""
    commission = Commission.objects.filter(job=job).first()
    if commission is not None:
        return _("Buyer of commission {number}").format(number=commission.number)
    return job.car.owner.name if job.car.owner else ""


@dataclass(frozen=True, slots=True)
class Followed:
    """What the buyer sees: how far it is in plain words; `certificate` the newest one, which may be withdrawn since;
    `content` what it says, as long as it stands. `plan`: how many items of the plan are seen or skipped, of how many,
    while the inspection goes on."""

    words: str
    certificate: Certificate | None = None
    content: Content | None = None
    plan: tuple[int, int] | None = None


def followed(commission: Commission) -> Followed:
    certificate = certificate_of(commission)
    if certificate is None:
        return Followed(_so_far(commission), plan=_plan_so_far(commission))
    if certificate.state != CertificateState.ISSUED:
        words = _("The shop has withdrawn the certificate: what it says counts no more. Ask the shop for a new one.")
        return Followed(words, certificate)
    words = _("The inspection is finished and the certificate is here.")
    return Followed(words, certificate, content_of(certificate))


def _plan_so_far(commission: Commission) -> tuple[int, int] | None:
    """Counts only: what was found is released with the certificate."""
    job = commission.job
    if commission.state != CommissionState.TAKEN or job is None or job.stage == Stage.BOOKED:
        return None
    inspection = inspection_of(job)
    if inspection is None:
        return None
    inspection.job = job
    standing = standing_of(inspection)
    return len(standing.rows) - len(standing.open_items), len(standing.rows)


def certificate_of(commission: Commission) -> Certificate | None:
    """The newest certificate of the commission's job that was issued, withdrawn or not; none before it is done."""
    if commission.state != CommissionState.DONE:
        return None
    return Certificate.objects.filter(job=commission.job).exclude(state=CertificateState.ISSUING).first()


def _so_far(commission: Commission) -> str:
    if commission.state == CommissionState.ASKED:
        return _("We have your commission and will answer you; nothing is agreed until then.")
    if commission.state == CommissionState.DECLINED:
        return _("We cannot do this inspection.")
    if commission.state == CommissionState.WITHDRAWN:
        return _("You have withdrawn this commission.")
    stage = commission.job.stage if commission.job else Stage.BOOKED
    if stage == Stage.BOOKED:
        return _("We do it: the inspection is booked.")
    if stage in (Stage.DONE, Stage.GONE):
        return _("The inspection is finished; the certificate is being written.")
    return _("The car is with us and its top is being inspected.")
