"""The writes of the catalogue."""

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from diagnostics.models import SystemRevision
from diagnostics.selectors import system_of
from parts.models import Fit, Part
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
