"""Suppliers and what they offer."""

from decimal import Decimal

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from parts.models import Offer, Part, Supplier
from parts.services.ledger import price_of
from shop.errors import Conflict, ShopError
from shop.models import User
from shop.permissions import require
from shop.services import trail_record

LONGEST = 365
"""Days that a delivery can take: more is a slip of the finger."""


@transaction.atomic
def supplier_set(
    *,
    by: User,
    name: str,
    email: str = "",
    lead_days: int | None = None,
    note: str = "",
    supplier: Supplier | None = None,
) -> Supplier:
    """Take a supplier in, or change what is known of `supplier`. `lead_days` None: nobody stated any, the shop's own
    deliveries must tell."""
    require(by, "order.write")
    name = name.strip()
    if not name:
        raise ShopError(_("A supplier needs a name."))
    _refuse_days(lead_days, name)
    row = supplier or Supplier()
    row.name, row.email, row.lead_days, row.note = name, email.strip(), lead_days, note.strip()
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:
        raise Conflict(_("{supplier} is known already.").format(supplier=name)) from error
    words = _("Supplier {name} changed.") if supplier else _("Supplier {name} taken in.")
    trail_record(by=by, kind="supplier.set", words=words.format(name=name))
    return row


@transaction.atomic
def offer_set(
    *,
    part: Part,
    supplier: Supplier,
    by: User,
    price: Decimal | None = None,
    pack: int = 1,
    lead_days: int | None = None,
    their_number: str = "",
    preferred: bool = True,
) -> Offer:
    """What a supplier offers a part for. The preferred offer is the one that the plan orders from; a first offer is
    preferred anyhow."""
    require(by, "order.write")
    if not 1 <= pack <= 999:
        raise ShopError(_("Pack of {part}: expected 1 to 999 pieces.").format(part=part.number))
    price_of(part, price)
    _refuse_days(lead_days, part.number)
    Part.objects.select_for_update().get(pk=part.pk)
    others = Offer.objects.filter(part=part).exclude(supplier=supplier)
    if preferred:
        others.update(preferred=False)
    offer, _made = Offer.objects.update_or_create(
        part=part,
        supplier=supplier,
        defaults={
            "price": price,
            "pack": pack,
            "lead_days": lead_days,
            "their_number": their_number.strip(),
            "preferred": preferred or not others.filter(preferred=True).exists(),
        },
    )
    words = _("{part} from {supplier}: offer noted.").format(part=part.number, supplier=supplier)
    trail_record(by=by, kind="offer.set", words=words)
    return offer


@transaction.atomic
def offer_drop(*, offer: Offer, by: User) -> None:
    """The supplier does not deliver it any more; another offer becomes the preferred one."""
    require(by, "order.write")
    Part.objects.select_for_update().get(pk=offer.part_id)
    Offer.objects.filter(pk=offer.pk).delete()
    left = Offer.objects.filter(part=offer.part_id)
    if not left.filter(preferred=True).exists() and (first := left.first()):
        first.preferred = True
        first.save(update_fields=["preferred"])
    words = _("{part} is no longer had from {supplier}.").format(part=offer.part.number, supplier=offer.supplier)
    trail_record(by=by, kind="offer.dropped", words=words)


def _refuse_days(days: int | None, what: str) -> None:
    if days is not None and not 0 <= days <= LONGEST:
        raise ShopError(_("Days of delivery for {what}: expected 0 to {most}.").format(what=what, most=LONGEST))
