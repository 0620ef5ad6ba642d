"""Publishing revisions of top systems."""

import hashlib

from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.engine.system.load import SystemFileError, load_system
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import SystemRevision
from diagnostics.models.systems import NOTE_LENGTH
from shop.errors import Conflict, ShopError
from shop.models import User
from shop.permissions import require
from shop.services import trail_record


@transaction.atomic
def system_publish(*, text: str, source: str, by: User, note: str = "") -> SystemRevision:
    """Publish the top system in `text` (YAML; `source` names it in messages), validated and simulated without faults.
    `note`: what changed and why, for people.

    The same text again gives the revision that stands. ShopError with the first mistakes of a wrong file; Conflict
    for a revision number that is taken by another text or is not newer than the newest.
    """
    require(by, "system.publish")
    note = note.strip()
    if len(note) > NOTE_LENGTH:
        raise ShopError(_("The note is too long; expected at most {most} characters.").format(most=NOTE_LENGTH))
    try:
        system = load_system(text, source)
    except SystemFileError as error:
        raise ShopError("\n".join(str(problem) for problem in error.problems[:20])) from error
    digest = hashlib.sha256(text.encode()).hexdigest()
    published = SystemRevision.objects.filter(slug=system.system).order_by("-revision")
    same = published.filter(revision=system.revision).first()
    if same is not None and same.sha256 == digest:
        return same
    newest = published.first()
    if newest is not None and system.revision <= newest.revision:
        raise Conflict(
            _(
                "Revision {given} of {slug} is not new: {newest} is published and never changes. Number it {next}."
            ).format(given=system.revision, slug=system.system, newest=newest.revision, next=newest.revision + 1)
        )
    revision = _created(system, text, digest, note, by)
    trail_record(
        by=by,
        kind="system.published",
        words=_("Published top system {title}, revision {revision}.").format(
            title=system.title, revision=system.revision
        ),
        link=reverse("diagnostics:system", args=[system.system]),
    )
    return revision


def _created(system: TopSystem, text: str, digest: str, note: str, by: User) -> SystemRevision:
    """The new row. Conflict where somebody else published this number since it was looked for."""
    try:
        with transaction.atomic():
            return SystemRevision.objects.create(
                slug=system.system,
                revision=system.revision,
                title=system.title,
                kind=system.kind,
                text=text,
                sha256=digest,
                note=note,
                published_at=timezone.now(),
                published_by=by,
            )
    except IntegrityError as error:
        words = _("Somebody else published revision {number} of {slug} just now. Look at it, then number yours.")
        raise Conflict(words.format(number=system.revision, slug=system.system)) from error
