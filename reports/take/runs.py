"""The export of the whole shop as background work, and how long its file is kept."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from functools import partial
from pathlib import Path

from django.conf import settings
from django.db import connections, transaction
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from reports.take.whole import export_write
from shop.models import RunState, TaskRun, User
from shop.permissions import require
from shop.runs import run_is_alive, run_progress, run_queue, run_send
from shop.services import trail_record

KIND = "records-export"
KEPT = timedelta(days=7)
LOST_AFTER = timedelta(hours=2)


@transaction.atomic
def export_ask(*, by: User) -> TaskRun:
    """Queue an export; where one waits or runs already, that one."""
    from reports.tasks import records_export_task  # the task calls this module

    require(by, "records.take")
    exports_tidy()
    for run in TaskRun.objects.filter(kind=KIND, state__in=[RunState.QUEUED, RunState.RUNNING]):
        if run_is_alive(run, lost_after=LOST_AFTER, words=_("The worker stopped before it was done.")):
            return run
    run = run_queue(kind=KIND, title=_("Writing out all records"), by=by, result_url=reverse("reports:records"))
    words = _("All records of the shop were asked for as a file.")
    trail_record(by=by, kind="records.taken", words=words, link=run.get_absolute_url())
    transaction.on_commit(partial(run_send, run, records_export_task))
    return run


def export_run(run: TaskRun) -> None:
    """What the worker does: the file is there whole or not at all. Raises Cancelled."""
    path = export_path(run)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    part = path.with_suffix(".part")
    # How far it is goes over a connection of its own: this one reads one moment's books.
    with ThreadPoolExecutor(max_workers=1) as aside:

        def tell(done: int, total: int, words: str) -> None:
            aside.submit(run_progress, run, done=done, total=total, words=words).result()

        try:
            part.touch(mode=0o600, exist_ok=False)
            with part.open("wb") as out:
                export_write(out, tell=tell)
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)
            aside.submit(connections.close_all).result()


def export_path(run: TaskRun) -> Path:
    return Path(settings.MEDIA_ROOT) / "records" / "taken" / f"{run.pk}.zip"


def exports_there() -> list[TaskRun]:
    """Exports whose file can be fetched, newest first."""
    runs = TaskRun.objects.filter(kind=KIND, state=RunState.DONE, ended_at__gte=timezone.now() - KEPT)
    return [run for run in runs.select_related("by")[:20] if export_path(run).exists()]


def exports_tidy() -> None:
    """Delete what was written out more than KEPT ago."""
    long_ago = (timezone.now() - KEPT).timestamp()
    for path in (Path(settings.MEDIA_ROOT) / "records" / "taken").glob("*"):
        if path.stat().st_mtime < long_ago:
            path.unlink(missing_ok=True)
