"""The work report: what the customer of a job is told of it. Read from this job alone; where the certificate says the
same, in the same words."""

from collections.abc import Iterator

from django.db.models import Exists, OuterRef, QuerySet, Subquery, Value
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from reports.commission.models import Commission
from reports.commission.selectors import client_of
from reports.document.compose.findings import RULES
from reports.document.content import MotionTrial, Results
from reports.document.draw.work_report import draw_work_report
from reports.document.sheets import WorkReport
from reports.gather import results_of_job
from shop.models import (
    Answer,
    EstimateLine,
    Job,
    OdometerReading,
    OwnerChange,
    ShopProfile,
    Task,
    TaskState,
    User,
    VersionState,
)
from shop.selectors.owners import owner_of_job
from shop.words import day_words, km_words, made_words


def work_report_pdf(job: Job, by: User) -> bytes:
    return draw_work_report(work_report(job, by))


def jobs_to_report() -> QuerySet[Job]:
    """Jobs with what their report needs to know of them: the last odometer reading until they were finished, whether
    they are somebody else's commission, whether the car ever changed hands."""
    reading = OdometerReading.objects.filter(car=OuterRef("car")).order_by("-read_on", "-pk")
    return Job.objects.select_related("car__owner").annotate(
        km=Subquery(reading.values("km")[:1]),
        km_on=Subquery(reading.values("read_on")[:1]),
        commissioned=Exists(Commission.objects.filter(job=OuterRef("pk"))),
        changed_hands=Exists(OwnerChange.objects.filter(car=OuterRef("car"))),
    )


def work_report(job: Job, by: User) -> WorkReport:
    """`job` read by jobs_to_report()."""
    profile = ShopProfile.objects.first() or ShopProfile()
    found = results_of_job(job)
    return WorkReport(
        shop=profile.name,
        contact=" · ".join(filter(None, [*profile.address.splitlines(), profile.phone, profile.email])),
        number=job.number,
        title=job.title,
        facts=_facts(job),
        vin=job.car.vin,
        complaint=job.complaint,
        summary=tuple(_summary(found)),
        seen=tuple(_seen(found)),
        put_right=tuple(one for one in found.findings if one.weight == "put-right"),
        done=found.work,
        found_open=found.open_findings(),
        still_open=(*_unjudged(found), *_still_open(job)),
        people=tuple(dict.fromkeys([*(one.by for one in found.work), *_looked(found)])),
        by=str(by),
        printed_at=timezone.localtime(),
    )


def _client(job: Job) -> str:
    """Whose job it is: of a car that has changed hands since, not the owner of today."""
    if job.commissioned:  # type: ignore[attr-defined]
        return client_of(job)
    owner = owner_of_job(job) if job.changed_hands else job.car.owner  # type: ignore[attr-defined]
    return owner.name if owner else ""


def _facts(job: Job) -> tuple[tuple[str, str], ...]:
    car = job.car
    return (
        (_("For"), _client(job)),
        (_("Car"), f"{car}, {made_words(car)}"),
        (_("VIN"), car.vin),
        (_("Plate"), car.plate),
        (_("Odometer"), _odometer(job)),
        (_("Job"), f"{job.number}: {job.title}"),
        (_("Opened"), day_words(job.opened_at)),
        (_("Finished"), day_words(job.finished_at)),
    )


def _odometer(job: Job) -> str:
    if job.km is None:  # type: ignore[attr-defined]
        return ""
    words = _("{km} on {day}")
    return words.format(km=km_words(job.km), day=day_words(job.km_on))  # type: ignore[attr-defined]


def _summary(found: Results) -> Iterator[str]:
    """How it stands, without a word of the trade."""
    looked = _looked(found)
    if not looked and not found.work:
        yield _("Nothing was checked and nothing was repaired in this job so far.")
        return
    yield _repaired(found)
    for trial in {one.motion: one for one in found.trials}.values():
        yield _ran(trial)
    if found.open_findings():
        yield _("Not everything that was found is put right; see below.")
    elif looked and found.proof:
        yield _("Nothing that was found is still open.")


def _repaired(found: Results) -> str:
    places = {one.position for one in found.work}
    if not places:
        return _("Nothing was repaired in this job so far.")
    left = len({one.position for one in found.findings if one.rule == RULES["unproven"].words} & places)
    words = ngettext("Worked on at {count} place.", "Worked on at {count} places.", len(places)).format(
        count=len(places)
    )
    if left:
        told = ngettext(
            "At {count} of them it was not yet seen that it works.",
            "At {count} of them it was not yet seen that it works.",
            left,
        )
        return f"{words} {told.format(count=left)}"
    return words + " " + _("Everything that was worked on was seen to work afterwards.")


def _ran(trial: MotionTrial) -> str:
    if trial.ran:
        words = _("{motion}, when last tried on {day}: ran to its end.")
        return words.format(motion=trial.title, day=day_words(trial.at))
    words = _("{motion}, when last tried on {day}: stopped at “{step}”.")
    return words.format(motion=trial.title, day=day_words(trial.at), step=trial.stopped_at)


def _looked(found: Results) -> tuple[str, ...]:
    """Who made the checks, one for each."""
    groups = (found.readings, found.trials, found.holds, found.observed)
    return tuple(row.by for rows in groups for row in rows)


def _seen(found: Results) -> Iterator[str]:
    """How much was looked at; of a top that nobody has declared what was read, since nothing judges it."""
    if found.proof:
        counts = (
            (_("{count} × the voltage at a pin of the control module"), len(found.readings)),
            (_("{count} × a whole motion of the top"), len(found.trials)),
            (_("{count} × the holding of pressure"), len(found.holds)),
            (_("{count} × by eye, ear or hand"), len(found.observed)),
        )
        told = [words.format(count=count) for words, count in counts if count]
        if told:
            yield _("Checked in this job: {what}.").format(what=", ".join(told))
        return
    for row in found.observed:
        yield f"{row.words} ({day_words(row.at)})"


def _unjudged(found: Results) -> tuple[str, ...]:
    """Why nothing can be said of a top that nobody has declared."""
    return () if found.proof else tuple(f"{row.what}: {row.why}" for row in found.not_tested)


def _still_open(job: Job) -> Iterator[str]:
    """What of the plan is not done, and what the customer declined; one query."""
    declined = EstimateLine.objects.filter(
        version__estimate__job=job, version__state=VersionState.SENT, answer__answer=Answer.DECLINED
    )
    tasks = Task.objects.filter(job=job, state=TaskState.OPEN)
    rows = tasks.order_by().values_list(Value("task"), "number", "title")
    offered = declined.order_by().values_list(Value("line"), "number", "words")
    for what, _number, words in sorted(rows.union(offered, all=True), key=lambda row: (row[0] != "task", row[1])):
        if what == "task":
            yield _("Planned and not done: {task}.").format(task=words.rstrip("."))
        else:
            yield _("Offered and declined: {line}.").format(line=words.rstrip("."))
