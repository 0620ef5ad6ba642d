"""The writes of the catalogue."""

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from diagnostics.models import SystemRevision
from diagnostics.selectors import system_of
from parts.models import Fit, Part, PartCode, Tracking
from parts.services.ledger import stock_locked
from shop.errors import Conflict, ShopError
from shop.models import User
from shop.permissions import require
from shop.services import trail_record


@transaction.atomic
def part_add(*, by: User, number: str, name: str, revision: str = "", supersedes: Part | None = None) -> Part:
    """Take a part into the catalogue. `supersedes`: the part that this one replaces; one part has one successor.

    Raises Refused, Conflict (the number is taken, or the old part has a successor already), ShopError (a value
    missing).
    """
    require(by, "part.write")
    number, name, revision = number.strip(), name.strip(), revision.strip()
    if not number or not name:
        raise ShopError(_("A part needs a number and a name."))
    if Part.objects.filter(number__iexact=number).exists():
        raise Conflict(_("Part {number} is in the catalogue already.").format(number=number))
    part = Part.objects.create(number=number, name=name, revision=revision)
    words = _("Part {number} {name} taken into the catalogue").format(number=number, name=name)
    if supersedes is not None:
        taken = Part.objects.filter(pk=supersedes.pk, superseded_by__isnull=True).update(superseded_by=part)
        if taken != 1:
            raise Conflict(_("Part {number} has a successor already.").format(number=supersedes.number))
        words = _("{words}; it supersedes {old}").format(words=words, old=supersedes.number)
    trail_record(by=by, kind="part.added", words=words)
    return part


@transaction.atomic
def fit_add(*, by: User, part: Part, system: str, position: str) -> Fit:
    """Say that a part fits a position of a declared system.

    Raises Refused, Conflict (said already), ShopError (no such system, no such position).
    """
    require(by, "part.write")
    position = position.strip().upper()
    revision = SystemRevision.objects.filter(slug=system).order_by("-revision").first()
    if revision is None:
        raise ShopError(_("No top system {system} is declared here.").format(system=system))
    if position not in system_of(revision).positions:
        raise ShopError(_("{system} has no position {position}.").format(system=revision.title, position=position))
    try:
        with transaction.atomic():
            fit = Fit.objects.create(part=part, system=system, position=position)
    except IntegrityError as error:
        raise Conflict(
            _("It is noted already that {number} fits {system} {position}.").format(
                number=part.number, system=revision.title, position=position
            )
        ) from error
    words = _("{number} fits {system} {position}").format(number=part.number, system=revision.title, position=position)
    trail_record(by=by, kind="part.fits", words=words)
    return fit


@transaction.atomic
def part_change(
    *,
    part: Part,
    by: User,
    name: str,
    tracking: str,
    rebuildable: bool,
    minimum: int,
    place: str,
    old_usable: bool,
) -> Part:
    """What the catalogue says of a part. How single pieces are followed can change only while none is on the shelf."""
    require(by, "part.write")
    part = Part.objects.select_for_update(no_key=True).get(pk=part.pk)
    if not name.strip():
        raise ShopError(_("A part needs a number and a name."))
    if tracking not in Tracking.values:
        raise ShopError(_("“{kind}” is no way to follow a part.").format(kind=tracking))
    if tracking != part.tracking and stock_locked(part).shelf:
        raise Conflict(
            _("{part} lies on the shelf; how its pieces are followed can change only when none is there.").format(
                part=part.number
            )
        )
    if not 0 <= minimum <= 999:
        raise ShopError(_("Minimum of {part}: expected 0 to 999.").format(part=part.number))
    part.name, part.tracking, part.rebuildable = name.strip()[:120], tracking, rebuildable
    part.minimum, part.place, part.old_usable = minimum, place.strip()[:40], old_usable
    part.save()
    trail_record(by=by, kind="part.changed", words=_("Part {part} changed.").format(part=part.number))
    return part


@transaction.atomic
def part_supersede(*, old: Part, new: Part | None, by: User) -> Part:
    """`new` replaces `old` from now on; None: nothing does any more. Conflict for a chain that would come back to where
    it began, with the chain named."""
    require(by, "part.write")
    # Every link there is: two links that close a ring together have a part in common here, however far apart they are.
    # Read after that: who waits here was told of the links before the other's was kept.
    linked = Part.objects.filter(
        Q(pk__in=[old.pk, *([new.pk] if new else [])]) | Q(superseded_by__isnull=False)
    ).order_by("pk")
    list(linked.select_for_update(no_key=True).values_list("pk", flat=True))
    known = {part.pk: part for part in linked.all()}
    old, chain, at = known[old.pk], [old.number], known[new.pk] if new else None
    while at is not None:
        chain.append(at.number)
        if at.pk == old.pk:
            raise Conflict(
                _("{chain}: a part cannot be superseded by itself in the end.").format(chain=" → ".join(chain))
            )
        at = known.get(at.superseded_by_id or 0)
    old.superseded_by = new
    old.save(update_fields=["superseded_by"])
    words = (
        _("{old} is superseded by {new}.").format(old=old.number, new=new.number)
        if new
        else _("{old} is superseded by nothing.").format(old=old.number)
    )
    trail_record(by=by, kind="part.superseded", words=words)
    return old


@transaction.atomic
def barcode_add(*, part: Part, by: User, barcode: str) -> PartCode:
    """A barcode that names the part from now on."""
    require(by, "part.write")
    barcode = barcode.strip()
    if not 3 <= len(barcode) <= 80:
        raise ShopError(_("A barcode has 3 to 80 characters."))
    known = PartCode.objects.filter(barcode=barcode).select_related("part").first()
    if known is not None:
        raise Conflict(_("{barcode} names {part} already.").format(barcode=barcode, part=known.part.number))
    row = PartCode.objects.create(part=part, barcode=barcode)
    words = _("Barcode {barcode} names {part}.").format(barcode=barcode, part=part.number)
    trail_record(by=by, kind="part.barcode", words=words)
    return row
