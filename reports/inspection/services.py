"""Inspections by plan: opened on a job, its items answered or skipped, answers struck out, the whole given up.

What was answered is its own record; the trail keeps what opens or ends an inspection, skips an item or strikes an
answer out.
"""

import uuid
from decimal import Decimal
from typing import IO

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.engine.inspection.items import Grade, Item
from diagnostics.services.sheets import locked_job
from reports.document.compose.coverage import SKIP
from reports.inspection.models import Inspection, InspectionAnswer
from reports.inspection.selectors import item_of, standing_of
from shop.errors import Conflict, Refused, ShopError
from shop.lines import one_line, reason_of
from shop.models import Job, Picture, User
from shop.permissions import may, require
from shop.services import picture_add, picture_describe, trail_record

WORDS_AT_MOST = 300


@transaction.atomic
def inspection_open(*, job: Job, by: User) -> Inspection:
    """The job inspects its car's top by the plan from now on; one that was given up goes on. Conflict on a job that is
    done."""
    require(by, "inspection.open")
    job = _job(job.pk)
    row = Inspection.objects.filter(job=job).first()
    if row is not None and row.is_open:
        return row
    if row is None:
        row = Inspection.objects.create(job=job, opened_at=timezone.now(), opened_by=by)
    else:
        row.given_up_at, row.given_up_by, row.given_up_why = None, None, ""
        row.save()
    _tell(row, by, "inspection.opened", _("Inspection by plan opened."))
    return row


@transaction.atomic
def inspection_give_up(*, inspection: Inspection, by: User, why: str) -> Inspection:
    """The job is no inspection by plan any more. ShopError without a reason."""
    require(by, "inspection.open")
    row = _open(inspection)
    row.given_up_why = reason_of(why, _("Say why the inspection by plan is given up."))
    row.given_up_at, row.given_up_by = timezone.now(), by
    row.save()
    _tell(row, by, "inspection.given-up", _("Inspection by plan given up: {why}").format(why=row.given_up_why))
    return row


@transaction.atomic
def item_answer(
    *,
    inspection: Inspection,
    by: User,
    key: str,
    grade: str,
    entry_id: uuid.UUID,
    words: str = "",
    measured: Decimal | None = None,
    picture: Picture | None = None,
    upload: IO[bytes] | None = None,
) -> InspectionAnswer:
    """Judge an item by one of its grades. `picture` of the job, or `upload` of a new one, shows it on the certificate.

    ShopError for an item that is not in the plan, an unknown grade, a figure that is missing or out of its bounds, or a
    finding without words; the same `entry_id` again gives the answer that stands.
    """
    require(by, "bench.write")
    row = _open(inspection)
    item = _named(item_of(row, key), key)
    found = item.grade(grade)
    if found is None:
        words_ = _("“{item}” is judged by one of: {grades}.")
        known = "; ".join(one.words for one in item.grades) or _("the bench sheet alone")
        raise ShopError(words_.format(item=item.title, grades=known))
    words = _line(words)
    if found.weight is not None and not words:
        raise ShopError(_("Say what was found at “{item}”, and where.").format(item=item.title))
    measured = _figure(item, found, measured)
    shown = _picture(row.job, by, item, words, picture, upload)
    return _keep(row, by, entry_id, key=key, grade=grade, words=words, measured=measured, picture=shown)


@transaction.atomic
def items_skip(
    *, inspection: Inspection, by: User, keys: tuple[str, ...], why: str, entry_id: uuid.UUID
) -> list[InspectionAnswer]:
    """Leave items out, all for one reason, which the certificate prints. Refused where one of them is the owner's to
    skip, Conflict where one is seen already; then none is skipped. Sent twice, kept once."""
    require(by, "bench.write")
    row = _open(inspection)
    why = reason_of(why, _("Say why it is skipped: the certificate prints the reason."))
    if not keys:
        raise ShopError(_("Name the items to skip."))
    there = {one.item.key: one for one in standing_of(row).rows}
    made = []
    for at, key in enumerate(dict.fromkeys(keys)):
        item = _named(there[key].item if key in there else None, key)
        if item.skip_by == "owner" and not may(by, "inspection.skip"):
            words = _("“{item}” carries the statement of the certificate: only the owner of the shop may skip it.")
            raise Refused(words.format(item=item.title))
        own_id = uuid.uuid5(entry_id, str(at)) if at else entry_id
        known = InspectionAnswer.objects.filter(entry_id=own_id, inspection=row).first()
        if known is None and there[key].state in ("done", "finding"):
            words = _("“{item}” is seen already: {words} Strike the answer out first.")
            raise Conflict(words.format(item=item.title, words=there[key].words))
        if known is None:
            text = _("Skipped in the inspection: {item}: {why}").format(item=item.title, why=why)
            _tell(row, by, "inspection.skipped", text)
        made.append(known or _keep(row, by, own_id, key=key, grade=SKIP, words=why, measured=None, picture=None))
    return made


@transaction.atomic
def answer_strike(*, answer: InspectionAnswer, by: User, why: str) -> InspectionAnswer:
    """Strike an answer out: it stays readable, and the one before it counts again. ShopError without a reason, Conflict
    where it is struck out already."""
    require(by, "bench.write")
    row = _open(answer.inspection)
    why = reason_of(why, _("Say why the answer is struck out; it stays readable with your reason."))
    answer = InspectionAnswer.objects.select_for_update(of=("self",)).get(pk=answer.pk, inspection=row)
    if answer.struck_at is not None:
        words = _("{who} has struck this answer out already: {why}")
        raise Conflict(words.format(who=answer.struck_by, why=answer.struck_why))
    answer.struck_at, answer.struck_by, answer.struck_why = timezone.now(), by, why
    answer.save(update_fields=["struck_at", "struck_by", "struck_why"])
    item = item_of(row, answer.key)
    text = _("Struck out in the inspection, “{item}”: {why}").format(item=item.title if item else answer.key, why=why)
    _tell(row, by, "inspection.struck", text)
    return answer


def _keep(row: Inspection, by: User, entry_id: uuid.UUID, **said: object) -> InspectionAnswer:
    made = InspectionAnswer(inspection=row, by=by, at=timezone.now(), entry_id=entry_id, **said)
    try:
        with transaction.atomic():
            made.save(force_insert=True)
    except IntegrityError:
        # The first delivery of this answer was committed before.
        there = InspectionAnswer.objects.filter(entry_id=entry_id, inspection=row).first()
        if there is None:
            raise
        return there
    return made


def _figure(item: Item, grade: Grade, measured: Decimal | None) -> Decimal | None:
    quantity = item.quantity
    if quantity is None:
        return None
    if measured is None:
        if quantity.needed and grade.weight is None:
            words = _("“{item}” wants a figure with it: {title}, in {unit}.")
            raise ShopError(words.format(item=item.title, title=quantity.title, unit=quantity.unit))
        return None
    least = quantity.least if grade.weight is None else min(quantity.least, 0)
    if not least <= measured <= quantity.most:
        words = _("{title}: {value} {unit} cannot be; expected {least:g} to {most:g} {unit}.")
        raise ShopError(
            words.format(
                title=quantity.title, value=measured, unit=quantity.unit, least=least, most=quantity.most
            )
        )  # fmt: skip
    return measured


def _picture(
    job: Job, by: User, item: Item, words: str, picture: Picture | None, upload: IO[bytes] | None
) -> Picture | None:
    """The picture that shows it, on the certificate with a caption."""
    caption = f"{item.title}: {words}".rstrip(": ")[:140]
    if upload is not None:
        picture = picture_add(job=job, by=by, upload=upload, caption=caption, on_paper=True)
    if picture is None:
        return None
    if picture.job_id != job.pk:
        raise ShopError(_("This picture belongs to another job; choose one of this job."))
    if not picture.on_paper:
        picture = picture_describe(
            picture=picture, by=by, caption=picture.caption or caption, position=picture.position,
            moment=picture.moment, on_paper=True,
        )  # fmt: skip
    return picture


def _named(item: Item | None, key: str) -> Item:
    if item is None:
        raise ShopError(_("The plan of this top has no item “{key}”.").format(key=key[:60]))
    return item


def _line(words: str) -> str:
    words = one_line(words)
    if len(words) > WORDS_AT_MOST:
        raise ShopError(_("That is too long; expected at most {most} characters.").format(most=WORDS_AT_MOST))
    return words


def _job(pk: int) -> Job:
    job = locked_job(pk)
    if not job.is_open:
        words = _("Job {number} is done, so its inspection stays as it is. Move the job back to go on.")
        raise Conflict(words.format(number=job.number))
    return job


def _open(inspection: Inspection) -> Inspection:
    """As it is now, locked with its job; Conflict where it was given up or the job is done."""
    job = _job(inspection.job_id)
    row = Inspection.objects.select_for_update(of=("self",)).get(pk=inspection.pk)
    row.job = job
    if not row.is_open:
        raise Conflict(_("This inspection was given up: {why}").format(why=row.given_up_why))
    return row


def _tell(row: Inspection, by: User, kind: str, words: str) -> None:
    trail_record(by=by, job=row.job, kind=kind, words=words, link=row.get_absolute_url())
