"""Published top systems, parsed once."""

from functools import lru_cache

from django.db.models import OuterRef, QuerySet, Subquery

from diagnostics.engine.system.load import load_system
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, SystemRevision
from shop.models import Car, Job


@lru_cache(maxsize=64)
def parsed(text: str, source: str) -> TopSystem:
    """A published text as a system; `source` stands in the sentences about its mistakes."""
    return load_system(text, source)


def system_of(revision: SystemRevision) -> TopSystem:
    """The parsed form of a published revision. A revision never changes, so each text is parsed once a process."""
    return parsed(revision.text, str(revision))


def newest_revisions() -> QuerySet[SystemRevision]:
    """The newest revision of every declared system, by title."""
    newest = SystemRevision.objects.filter(slug=OuterRef("slug")).order_by("-revision").values("pk")[:1]
    return SystemRevision.objects.filter(pk=Subquery(newest)).order_by("title")


def revision_asked(slug: str, asked: str) -> SystemRevision | None:
    """The newest revision of a system, or the one whose number is `asked`; None where there is none."""
    rows = SystemRevision.objects.filter(slug=slug).order_by("-revision")
    return (rows.filter(revision=int(asked)) if asked.isdecimal() and len(asked) < 6 else rows).first()


def system_for_car(car: Car) -> SystemRevision | None:
    """The newest revision of the car's top system; None where nobody has declared it yet."""
    if not car.system:
        return None
    return SystemRevision.objects.filter(slug=car.system).order_by("-revision").first()


def last_sheet_on_system(job: Job) -> BenchSheet | None:
    """The job's last sheet on what is now its car's top system."""
    sheets = BenchSheet.objects.filter(job=job, revision__slug=job.car.system).select_related("revision")
    return sheets.order_by("-opened_at", "-pk").first()


def system_for_job(job: Job) -> SystemRevision | None:
    """The revision that the job began with, else the newest of its car's top system: checks and work that are judged
    by two revisions would say nothing together."""
    last = last_sheet_on_system(job)
    return last.revision if last is not None else system_for_car(job.car)
