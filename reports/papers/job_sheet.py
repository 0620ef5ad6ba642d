"""The job sheet: what a technician takes to the car, as things stand now."""

from collections.abc import Iterator
from urllib.parse import urljoin

from django.conf import settings
from django.db.models import Exists, OuterRef, Prefetch
from django.template.defaultfilters import floatformat
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from diagnostics import selectors as bench
from diagnostics.charts.words import percent_words
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet
from diagnostics.selectors.proof import owed
from diagnostics.selectors.todos import todos_of
from parts.models import Need, NeedState
from reports.document.draw.job_sheet import draw_job_sheet
from reports.document.sheets import CheckRow, JobSheet, PickRow, SuspectRow, TaskRow
from reports.gather import cautions_of
from shop.models import Hold, Job, ShopProfile, Task, TaskKind, TaskPart, TaskState
from shop.words import day_words, made_words

SUSPECTS = 5


def job_sheet_pdf(job: Job) -> bytes:
    return draw_job_sheet(job_sheet(job))


def job_sheet(job: Job) -> JobSheet:
    """`job` with its car. Ten queries, however much is planned."""
    profile = ShopProfile.objects.first()
    sheet = bench.sheet_of_job(job)
    system = _system(job, sheet)
    suspects, checks, still = _bench(sheet)
    tasks = list(_tasks(job))
    return JobSheet(
        shop=profile.name if profile else "",
        number=job.number,
        title=job.title,
        url=urljoin(str(settings.PUBLIC_URL), job.get_absolute_url()),
        facts=_facts(job, system),
        vin=job.car.vin,
        complaint=job.complaint,
        suspects=suspects,
        checks=checks,
        owed=still,
        no_bench=_no_bench(sheet, system),
        tasks=tuple(_task(task) for task in tasks),
        parts=(*_needed(job), *_planned(tasks)),
        cautions=cautions_of(system),
        printed_at=timezone.localtime(),
    )


def _system(job: Job, sheet: BenchSheet | None) -> TopSystem | None:
    revision = sheet.revision if sheet is not None else bench.system_for_car(job.car)
    return bench.system_of(revision) if revision is not None else None


def _facts(job: Job, system: TopSystem | None) -> tuple[tuple[str, str], ...]:
    car = job.car
    return (
        (_("Car"), f"{car}, {made_words(car)}"),
        (_("VIN"), car.vin),
        (_("Plate"), car.plate),
        (_("Top system"), system.title if system else _("not declared")),
        (_("Stage"), str(job.get_stage_display())),
        (_("Waits for"), _waits_for(job)),
        (_("Promised for"), day_words(job.promised_on)),
    )


def _waits_for(job: Job) -> str:
    if not job.is_open or job.hold == Hold.NOTHING:
        return ""
    return ", ".join(filter(None, [str(job.get_hold_display()), job.hold_note]))


def _no_bench(sheet: BenchSheet | None, system: TopSystem | None) -> str:
    if system is None:
        return _("The top system of this car is not declared, so no check is named here.")
    if sheet is None:
        return _("No bench sheet is open yet: open one to be told what to check first.")
    return ""


def _bench(sheet: BenchSheet | None) -> tuple[tuple[SuspectRow, ...], tuple[CheckRow, ...], tuple[str, ...]]:
    """Open suspects, what to check next, and what still has to be seen after work; nothing of a sheet that is
    closed."""
    evidence = bench.evidence_of_sheet(sheet) if sheet is not None else None
    if sheet is None or sheet.revision is None or evidence is None:
        return (), (), ()
    still = owed(evidence)
    if evidence.is_empty or sheet.closed_at is not None:
        return (), (), still
    diagnosis = bench.diagnosis_of(evidence, sheet.revision.sha256)
    suspects = tuple(
        SuspectRow(one.words, percent_words(one.probability)) for one in bench.open_suspects(diagnosis)[:SUSPECTS]
    )
    checks = tuple(
        CheckRow(
            what=" ".join(filter(None, [f"{todo.label}:", todo.check.position, todo.name])),
            pose=todo.place.pose_words,
            minutes=_("about {minutes} min").format(minutes=floatformat(todo.check.minutes, "-1")),
            why=todo.check.why,
        )
        for todo in todos_of(sheet, evidence.system, diagnosis)
    )
    return suspects, checks, still


_ASKED = Need.objects.filter(task_part=OuterRef("pk"), state__in=[NeedState.OPEN, NeedState.ISSUED])


def _tasks(job: Job) -> Iterator[Task]:
    parts = TaskPart.objects.annotate(asked=Exists(_ASKED))
    rows = job.tasks.exclude(state=TaskState.DROPPED).select_related("person", "bay").order_by("number")
    yield from rows.prefetch_related(Prefetch("parts", parts))


def _task(task: Task) -> TaskRow:
    notes = (str(task.bay) if task.bay else "", task.blocked_note)
    return TaskRow(
        number=task.number,
        title=task.title,
        time=_time(task),
        who=task.outside_by if task.kind == TaskKind.OUTSIDE else str(task.person or ""),
        notes=tuple(filter(None, notes)),
        caution=task.caution,
        state="done" if task.state == TaskState.DONE else "open",
    )


def _time(task: Task) -> str:
    if task.kind == TaskKind.OUTSIDE:
        days = task.outside_days or 0
        return ngettext("outside, {days} day", "outside, {days} days", days).format(days=days)
    if not task.planned_minutes:
        return ""
    words = _("{minutes} min").format(minutes=task.planned_minutes)
    if task.least_minutes is None or task.most_minutes is None:
        return words
    return _("{minutes} min ({least} to {most})").format(
        minutes=task.planned_minutes, least=task.least_minutes, most=task.most_minutes
    )


def _needed(job: Job) -> Iterator[PickRow]:
    rows = Need.objects.filter(job=job).exclude(state=NeedState.DROPPED).select_related("part").order_by("pk")
    for need in rows:
        part, gone = need.part, need.state == NeedState.ISSUED
        yield PickRow(need.quantity, part.number, part.name, part.place, need.position, _need_words(need), gone)


def _need_words(need: Need) -> str:
    """In the words of the job's page."""
    if need.state == NeedState.ISSUED:
        return _("handed out")
    told = (
        (need.issued, _("{count} handed out")),
        (need.held, _("{count} reserved")),
        (need.missing, _("{count} missing")),
    )
    words = [sentence.format(count=count) for count, sentence in told if count]
    if need.chance < 1:
        words.append(_("needed with {percent} %").format(percent=round(100 * need.chance)))
    return ", ".join(words)


def _planned(tasks: list[Task]) -> Iterator[PickRow]:
    """Parts of the work plan that nobody has asked the shelf for."""
    for task in tasks:
        for part in task.parts.all():
            if part.asked or task.state != TaskState.OPEN:  # type: ignore[attr-defined]
                continue
            state = _("here since {day}").format(day=day_words(part.here_on)) if part.here_on else _part_words(part)
            yield PickRow(part.quantity, part.part, part.name, "", "", state, False)


def _part_words(part: TaskPart) -> str:
    if part.expected_on:
        return _("in the plan, expected {day}").format(day=day_words(part.expected_on))
    return _("in the plan, not asked for")
