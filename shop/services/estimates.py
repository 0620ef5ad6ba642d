"""Estimates: drafts and their lines, sent versions, and what the customer answered. What was sent never changes."""

import datetime as dt
import hashlib
import secrets
from collections.abc import Mapping
from decimal import Decimal

from django.db import transaction
from django.db.models import Max
from django.utils import timezone
from django.utils.translation import gettext as _

from shop import estimates as words_of
from shop.errors import Conflict, ShopError
from shop.models import (
    Answer,
    CostKind,
    Estimate,
    EstimateLine,
    EstimateVersion,
    Hold,
    Job,
    LineAnswer,
    ShopProfile,
    Stage,
    Task,
    TaskKind,
    User,
    VersionState,
)
from shop.permissions import require
from shop.planning.money import hours_of
from shop.selectors.estimates import tasks_to_offer
from shop.services.jobs import job_hold
from shop.services.people import token_hash
from shop.services.trail import trail_record

GOOD_FOR = dt.timedelta(days=30)
LINES_AT_MOST = 100
QUANTITY_MOST, PRICE_MOST = Decimal("9999999.99"), Decimal("99999999.99")


@transaction.atomic
def estimate_make(*, job: Job, by: User, from_plan: bool) -> EstimateVersion:
    """A new estimate of the job, the second and later ones supplements, as a draft; `from_plan`: with lines for the
    tasks that no estimate has yet (tasks_to_offer), as many whole ones as it takes, parts and outside work still
    without a price."""
    require(by, "estimate.write")
    Job.objects.select_for_update().get(pk=job.pk)
    if job.stage == Stage.GONE:
        raise Conflict(_("{number} is handed over. Open a new job on the car.").format(number=job.number))
    number = (job.estimates.aggregate(last=Max("number"))["last"] or 0) + 1
    title = _("Estimate") if number == 1 else _("Supplement {number}").format(number=number - 1)
    shop = ShopProfile.objects.first() or ShopProfile()
    made = Estimate.objects.create(job=job, number=number, title=title, made_at=timezone.now(), made_by=by)
    version = EstimateVersion.objects.create(estimate=made, version=1, currency=shop.currency)
    if from_plan:
        EstimateLine.objects.bulk_create(_lines_of_plan(version, shop))
    _tell(version, by, "estimate.made", _("{title} begun.").format(title=title))
    return version


def _lines_of_plan(version: EstimateVersion, shop: ShopProfile) -> list[EstimateLine]:
    """A task is there with all of its lines or not at all: the rest of one would be in no later supplement."""
    lines: list[EstimateLine] = []
    for task in tasks_to_offer(version.estimate.job).prefetch_related("parts"):
        own = _lines_of_task(task, shop)
        if len(lines) + len(own) <= LINES_AT_MOST:
            lines += own
    for number, line in enumerate(lines, start=1):
        line.version, line.number, line.tax_percent = version, number, shop.tax_percent
    return lines


def _lines_of_task(task: Task, shop: ShopProfile) -> list[EstimateLine]:
    lines = []
    if task.kind == TaskKind.OUTSIDE:
        lines.append(EstimateLine(kind=CostKind.OUTSIDE, words=task.title, quantity=Decimal(1), unit=_("piece")))
    elif task.planned_minutes:
        hours = hours_of(task.planned_minutes)
        lines.append(EstimateLine(kind=CostKind.LABOUR, words=task.title, quantity=hours, unit=_("h")))
    for part in task.parts.all():
        words, quantity = f"{part.name} {part.part}".strip(), Decimal(part.quantity)
        lines.append(EstimateLine(kind=CostKind.PART, words=words, quantity=quantity, unit=_("piece")))
    for line in lines:
        line.task, line.unit_price = task, shop.hourly_rate if line.kind == CostKind.LABOUR else Decimal(0)
    return lines


@transaction.atomic
def line_keep(
    *,
    version: EstimateVersion,
    by: User,
    kind: str,
    words: str,
    quantity: Decimal,
    unit: str,
    unit_price: Decimal,
    tax_percent: Decimal,
    line: EstimateLine | None = None,
) -> EstimateLine:
    """A line at the end of a draft, or `line` of it as it is from now on."""
    _draft_locked(version, by)
    words = " ".join(words.split())  # one line of text: what an answer keeps is found by it
    check_priced(words, quantity, unit_price)
    last = version.lines.aggregate(last=Max("number"))["last"] or 0
    if line is None:
        if version.lines.count() >= LINES_AT_MOST:
            raise ShopError(
                _("An estimate has at most {most} lines; this one is full. Make a supplement.").format(
                    most=LINES_AT_MOST
                )
            )
        line = EstimateLine(version=version, number=last + 1)
    elif line.version_id != version.pk or not version.lines.filter(pk=line.pk).exists():
        raise Conflict(_("This line is no longer there: somebody removed it."))
    line.kind, line.words, line.quantity, line.unit = CostKind(kind).value, words, quantity, " ".join(unit.split())
    line.unit_price, line.tax_percent = unit_price, tax_percent
    line.save()
    _tell(version, by, "estimate.line", _("Line written: {line}").format(line=line.words))
    return line


def check_priced(words: str, quantity: Decimal, unit_price: Decimal) -> None:
    """ShopError for a line or outlay that the books cannot take."""
    if not words:
        raise ShopError(_("Say what the line is for."))
    if not 0 < quantity <= QUANTITY_MOST:
        raise ShopError(_("The quantity must be more than 0 (and at most {most}).").format(most=QUANTITY_MOST))
    if not 0 <= unit_price <= PRICE_MOST:
        raise ShopError(_("The price must be 0 or more (and at most {most}).").format(most=PRICE_MOST))


@transaction.atomic
def line_remove(*, version: EstimateVersion, by: User, line: EstimateLine) -> None:
    """The line goes; those after it move up."""
    _draft_locked(version, by)
    words = line.words
    line.delete()
    for number, row in enumerate(version.lines.order_by("number"), start=1):
        if row.number != number:
            EstimateLine.objects.filter(pk=row.pk).update(number=number)
    _tell(version, by, "estimate.line", _("Removed: {line}").format(line=words))


@transaction.atomic
def line_up(*, version: EstimateVersion, by: User, line: EstimateLine) -> None:
    """The line changes places with the one before it; the first stays."""
    _draft_locked(version, by)
    line.refresh_from_db(fields=["number"])
    before = version.lines.filter(number=line.number - 1).first()
    if before is None:
        return
    rows = EstimateLine.objects
    rows.filter(pk=line.pk).update(number=0)  # a place of its own meanwhile: no number is there twice
    rows.filter(pk=before.pk).update(number=line.number)
    rows.filter(pk=line.pk).update(number=line.number - 1)
    _tell(version, by, "estimate.line", _("Moved up: {line}").format(line=line.words))


@transaction.atomic
def estimate_words(*, version: EstimateVersion, by: User, title: str, words: str) -> None:
    """The title of the estimate, and the words above its lines."""
    _draft_locked(version, by)
    title = " ".join(title.split())
    if not title:
        raise ShopError(_("The estimate needs a title."))
    version.estimate.title, version.words = title, words.strip()
    version.estimate.save(update_fields=["title"])
    version.save(update_fields=["words"])
    _tell(version, by, "estimate.words", _("{title}: the words above the lines changed.").format(title=title))


@transaction.atomic
def version_next(*, version: EstimateVersion, by: User) -> EstimateVersion:
    """A draft that begins as a copy of `version`, the newest. What was sent stays good until the draft is sent."""
    require(by, "estimate.write")
    Estimate.objects.select_for_update().get(pk=version.estimate_id)
    newest = version.estimate.versions.order_by("-version")[0]
    if newest.state == VersionState.DRAFT:
        raise Conflict(_("There is a draft of this estimate already: version {number}.").format(number=newest.version))
    made = EstimateVersion.objects.create(
        estimate=version.estimate, version=newest.version + 1, words=newest.words, currency=newest.currency
    )
    copies = list(newest.lines.order_by("number"))
    for line in copies:
        line.pk, line.version = None, made
    EstimateLine.objects.bulk_create(copies)
    _tell(made, by, "estimate.made", _("Version {number} begun.").format(number=made.version))
    return made


@transaction.atomic
def estimate_send(*, version: EstimateVersion, by: User, to: str, hold: bool) -> str:
    """Freeze the draft; the secret of its link, which is kept nowhere. The version that was sent before is replaced.
    `hold`: the job waits for the customer from now on."""
    _draft_locked(version, by)
    lines = list(version.lines.order_by("number"))
    if not lines:
        raise ShopError(_("There is nothing to send: the estimate has no line yet."))
    version.estimate.versions.filter(state=VersionState.SENT).update(state=VersionState.REPLACED)
    # After that, which waits for an answer that is just being kept: no answer is later than what replaced it.
    now, token = timezone.now(), secrets.token_urlsafe(32)
    version.text = words_of.text_of(version, lines, ShopProfile.objects.first())
    version.state, version.sent_at, version.sent_by, version.sent_to = VersionState.SENT, now, by, to
    version.token_hash, version.expires_at = token_hash(token), now + GOOD_FOR
    version.save()
    words = _("{title}, version {number} sent; SHA-256 of its text: {sum}.").format(
        title=version.estimate.title,
        number=version.version,
        sum=hashlib.sha256(version.text.encode()).hexdigest(),
    )
    _tell(version, by, "estimate.sent", words)
    if hold and version.estimate.job.is_open:
        job_hold(job=version.estimate.job, by=by, hold=Hold.CUSTOMER, note=version.estimate.title)
    return token


@transaction.atomic
def estimate_withdraw(*, version: EstimateVersion, by: User) -> None:
    """Nobody can answer it any more. Conflict once something of it was answered: that stays in the books."""
    require(by, "estimate.write")
    _sent_locked(version)
    if LineAnswer.objects.filter(line__version=version).exists():
        raise Conflict(_("The customer has answered already. Send a new version instead: it replaces this one."))
    version.state = VersionState.WITHDRAWN
    version.save(update_fields=["state"])
    _tell(version, by, "estimate.withdrawn", _("{title} withdrawn.").format(title=version.estimate.title))


@transaction.atomic
def answers_keep(
    *, version: EstimateVersion, answers: Mapping[int, str], name: str, noted_by: User | None = None
) -> list[LineAnswer]:
    """What the customer says of lines (by key: an Answer), once and for good, all of it or nothing. `noted_by`: who of
    the shop heard it. Conflict where a line was answered, or the version is no longer the one that counts."""
    if noted_by is not None:
        require(noted_by, "estimate.write")
    _sent_locked(version)
    name = " ".join(name.split())
    if not name:
        raise ShopError(_("Whose answer is it? Write the name."))
    if not answers:
        raise ShopError(_("Nothing is answered yet: approve or decline at least one line."))
    lines = {line.pk: line for line in version.lines.filter(pk__in=answers)}
    if len(lines) != len(answers):
        raise ShopError(_("An answer is for a line that is not in this estimate. Load the page again."))
    _refuse_twice(list(lines.values()))
    now = timezone.now()
    made = LineAnswer.objects.bulk_create(
        LineAnswer(
            line=lines[pk], answer=Answer(answer).value, name=name, at=now,
            text=words_of.line_text(version, lines[pk]), noted_by=noted_by,
        )
        for pk, answer in answers.items()
    )  # fmt: skip
    yes = sum(one.answer == Answer.APPROVED for one in made)
    words = words_of.answered_words(version.estimate.title, approved=yes, declined=len(made) - yes)
    _tell(version, noted_by, "estimate.answered", words)
    return made


def _refuse_twice(lines: list[EstimateLine]) -> None:
    there = LineAnswer.objects.filter(line__in=lines).order_by("line__number").first()
    if there is not None:
        words = _("Answered already, by {name}: {line} An answer counts once; to change it, ask us for a new version.")
        raise Conflict(words.format(name=there.name, line=there.text))


def _draft_locked(version: EstimateVersion, by: User) -> None:
    require(by, "estimate.write")
    row = EstimateVersion.objects.select_for_update().get(pk=version.pk)
    if row.state != VersionState.DRAFT:
        raise Conflict(_("This version was sent; it does not change any more. Begin a new version."))
    version.refresh_from_db()


def _sent_locked(version: EstimateVersion) -> None:
    row = EstimateVersion.objects.select_for_update().get(pk=version.pk)
    if row.state == VersionState.DRAFT:
        raise Conflict(_("This version is a draft: it was not sent yet."))
    if row.state == VersionState.REPLACED:
        raise Conflict(_("A newer version of this estimate was sent. Answer that one; nothing of this was kept."))
    if row.state == VersionState.WITHDRAWN:
        raise Conflict(_("This estimate was withdrawn. Ask the shop for a new one."))
    if row.expires_at is not None and row.expires_at <= timezone.now():
        raise Conflict(_("The time for an answer is over. Ask the shop for a new version."))


def _tell(version: EstimateVersion, by: User | None, kind: str, words: str) -> None:
    """`words` name no customer and no sum: the trail is the car's, and its next owner is told of it."""
    job = version.estimate.job
    trail_record(by=by, kind=kind, words=words, job=job, link=version.get_absolute_url())
