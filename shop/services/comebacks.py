"""Whether a car came back after a job, and why: said by somebody, never guessed."""

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from shop.errors import Conflict, ShopError
from shop.models import ComebackCause, Job, User
from shop.permissions import require
from shop.services.trail import trail_record


@transaction.atomic
def comeback_judge(*, job: Job, by: User, after: Job | None, cause: str = "") -> Job:
    """Say that the car came back with `job` after the job `after`, and why; or (`after` None) that it did not.

    Conflict where somebody has said so already, ShopError where `after` was not done on the same car before.
    """
    require(by, "job.write")
    row = Job.objects.select_for_update().get(pk=job.pk)
    if row.comeback_judged_at is not None:
        raise Conflict(_("Somebody has judged {number} already.").format(number=row.number))
    if after is not None:
        _check(row, after, cause)
    row.comeback_of, row.comeback_cause = after, cause if after is not None else ""
    row.comeback_judged_at = timezone.now()
    row.save(update_fields=["comeback_of", "comeback_cause", "comeback_judged_at"])
    if after is None:
        kind, words = "job.no-comeback", _("{number} is no comeback.").format(number=row.number)
    else:
        kind, words = "job.comeback", _("{number} is a comeback of {before}: {cause}.")
        words = words.format(number=row.number, before=after.number, cause=ComebackCause(cause).label)
    trail_record(by=by, kind=kind, words=words, job=row, link=row.get_absolute_url())
    return row


def _check(job: Job, after: Job, cause: str) -> None:
    if cause not in ComebackCause.values:
        raise ShopError(_("Say why the car came back; expected one of the causes of the list."))
    done = after.finished_at is not None and after.finished_at <= job.opened_at
    if after.car_id != job.car_id or after.pk == job.pk or not done:
        words = _("{number} cannot be a comeback of {before}; expected a job on the same car that was done before.")
        raise ShopError(words.format(number=job.number, before=after.number))
