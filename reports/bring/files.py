"""Files of old records that are sent in: kept, looked at in the background, brought, and deleted again."""

import csv
import io
from collections.abc import Mapping
from contextlib import suppress
from datetime import timedelta
from functools import partial
from hashlib import sha256
from pathlib import Path

from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from reports.bring.records import Brought, NotBrought, fates_of, records_import, table_asked
from reports.models import ImportedFile, ImportState
from reports.records.columns import places
from reports.records.tables import Table, TableError, open_table
from reports.records.values import ORDERS, Order
from shop.errors import Conflict, ShopError
from shop.models import TaskRun, User
from shop.permissions import require
from shop.runs import run_check, run_is_alive, run_progress, run_queue, run_send
from shop.services import trail_record

KEPT = timedelta(days=7)
LARGEST = 15 * 1024 * 1024
"""Bytes of a file; below what a whole form may have (shop/middleware.py)."""
LOST_AFTER = timedelta(minutes=30)
"""A run that has waited or run for longer is lost with its message or its worker; 100,000 rows take a few minutes."""
_OPEN = (ImportState.SENT.value, ImportState.JUDGED.value)


@transaction.atomic
def import_send(*, upload: "UploadedFile[bytes]", by: User) -> ImportedFile:
    """Keep a file that was sent. ShopError where it is no table, or larger than LARGEST: then nothing is kept."""
    require(by, "records.bring")
    if (upload.size or 0) > LARGEST:
        told = _("The file is larger than {most} MB, the most that is taken; divide the table.")
        raise ShopError(told.format(most=LARGEST // (1024 * 1024)))
    files_tidy()
    digest = sha256()
    for chunk in upload.chunks():
        digest.update(chunk)
    name = " ".join(Path(upload.name or "").name.split())[:200] or _("without a name")
    row = ImportedFile(name=name, sha256=digest.hexdigest(), by=by, at=timezone.now())
    upload.seek(0)
    row.file.save(f"{digest.hexdigest()[:16]}.table", upload, save=False)
    try:
        with suppress(ShopError):  # the kind is asked where the headings do not tell it
            asked = table_asked(table_of_file(row), "", {})
            row.kind, row.matching = asked.kind, asked.matching
        row.remarks = list(table_of_file(row).remarks)
        row.save()
        words = _("A table of old records was sent in: {name}.").format(name=name)
        trail_record(by=by, kind="records.sent", words=words, link=row.get_absolute_url())
    except BaseException:
        row.file.delete(save=False)
        raise
    return row


def table_of_file(row: ImportedFile) -> Table:
    """ShopError where the file cannot be read as a table, or is gone."""
    if not row.file:
        raise Conflict(_("The file of {name} is deleted; send it in again.").format(name=row.name))
    try:
        return open_table(Path(row.file.path), sheet=row.sheet)
    except TableError as error:
        raise ShopError(str(error)) from error


@transaction.atomic
def import_match(
    *, row: ImportedFile, by: User, kind: str, matching: Mapping[str, str], order: str, sheet: str
) -> ImportedFile:
    """Say what the table holds. ShopError for a matching that cannot be; Conflict once it is brought or dropped."""
    require(by, "records.bring")
    row = _open_row(row)
    if order not in ORDERS:
        raise ShopError(_("Say whether the day or the month comes first."))
    row.sheet, row.kind, row.order = sheet, kind, order
    table = table_of_file(row)
    try:
        places(table.headings, kind, matching)
    except TableError as error:
        raise ShopError(str(error)) from error
    row.matching, row.remarks = dict(matching), list(table.remarks)
    row.state, row.fates = ImportState.SENT, {}
    row.save()
    return row


@transaction.atomic
def import_ask(*, row: ImportedFile, by: User, dry_run: bool) -> TaskRun:
    """Queue the look at every row, or the bringing; where one waits or runs already, that one. Conflict where it is
    to be brought without having been looked at."""
    from reports.tasks import records_import_task  # the task calls this module

    require(by, "records.bring")
    row = _open_row(row)
    if row.run and run_is_alive(row.run, lost_after=LOST_AFTER, words=_("The worker stopped before it was done.")):
        return row.run
    if not dry_run and row.state != ImportState.JUDGED:
        raise Conflict(_("Look first at what would become of each row."))
    title = _("Looking at {name}") if dry_run else _("Bringing {name}")
    title = title.format(name=row.name)[:140]
    row.run = run_queue(kind="records-import", title=title, by=by, result_url=row.get_absolute_url())
    row.save(update_fields=["run"])
    transaction.on_commit(partial(run_send, row.run, records_import_task, row.pk, dry_run))
    return row.run


def import_run(*, row: ImportedFile, run: TaskRun, dry_run: bool) -> Brought:
    """What the worker does. Raises NotBrought with the fates kept, ShopError, Cancelled."""
    table = table_of_file(row)
    total = 2 * sum(1 for _row in table.rows()) or 1

    def tell(done: int, rows: int, words: str) -> None:
        run_progress(run, done=0 if rows == 1 else total // 2 + done // 2, total=total, words=words)

    try:
        brought = records_import(
            table=table,
            kind=row.kind,
            matching=row.matching,
            order=_order(row.order),
            by=row.by if run.by is None else run.by,
            dry_run=dry_run,
            tell=tell,
            hold=partial(run_check, run, locked=True),
            keep=partial(_keep, row, table),
        )
    except NotBrought as error:
        with transaction.atomic():
            _keep(row, table, error.brought)
        raise
    if dry_run:
        with transaction.atomic():
            _keep(row, table, brought)
    return brought


def _order(words: str) -> Order:
    return next(order for order in ORDERS if order == words)


def _keep(row: ImportedFile, table: Table, brought: Brought) -> None:
    """The fates, as numbers and as a CSV; of a table that was brought the file goes."""
    out = io.StringIO(newline="")
    csv.writer(out).writerows(fates_of(brought))
    row = ImportedFile.objects.select_for_update(of=("self",)).get(pk=row.pk)
    if row.state not in _OPEN:
        raise Conflict(_("{name} was dropped or brought meanwhile.").format(name=row.name))
    old, file = row.fates_file.name, row.file.name
    row.fates_file.save(f"{row.pk}.csv", ContentFile(out.getvalue().encode()), save=False)
    row.fates, row.remarks, row.state = brought.tally.as_json(), list(table.remarks), ImportState.JUDGED
    if brought.written:
        row.state, row.file, row.ended_at = ImportState.DONE, "", timezone.now()
    row.save()
    _delete_later(row, old, file if brought.written else "")


@transaction.atomic
def import_drop(*, row: ImportedFile, by: User) -> ImportedFile:
    """The file is not wanted: it is deleted, with what was found out about its rows."""
    require(by, "records.bring")
    row = _open_row(row)
    if row.run and run_is_alive(row.run, lost_after=LOST_AFTER, words=_("The worker stopped before it was done.")):
        raise Conflict(_("{name} is just being worked on; cancel that first.").format(name=row.name))
    _drop(row)
    words = _("Dropped without bringing it: {name}.").format(name=row.name)
    trail_record(by=by, kind="records.dropped", words=words, link=row.get_absolute_url())
    return row


@transaction.atomic
def files_tidy() -> int:
    """Drop what was sent more than KEPT ago, and delete the fates of what ended as long ago; how many were dropped."""
    long_ago = timezone.now() - KEPT
    old = list(ImportedFile.objects.select_for_update(of=("self",)).filter(state__in=_OPEN, at__lt=long_ago))
    for row in old:
        _drop(row)
    for row in ImportedFile.objects.filter(ended_at__lt=long_ago).exclude(fates_file=""):
        row.fates_file.delete(save=True)
    return len(old)


def _drop(row: ImportedFile) -> None:
    _delete_later(row, row.file.name, row.fates_file.name)
    row.file, row.fates_file = "", ""
    row.state, row.ended_at = ImportState.DROPPED, timezone.now()
    row.save()


def _delete_later(row: ImportedFile, *names: str | None) -> None:
    """Once it is certain that nothing names these files any more."""
    storage = row.file.storage
    for name in names:
        if name:
            transaction.on_commit(partial(storage.delete, name))


def _open_row(row: ImportedFile) -> ImportedFile:
    """The row as it is now, locked; Conflict once it is brought or dropped."""
    row = ImportedFile.objects.select_for_update(of=("self",)).select_related("run", "by").get(pk=row.pk)
    if row.state not in _OPEN:
        words = _("{name} is done with: {state}.")
        raise Conflict(words.format(name=row.name, state=ImportState(row.state).label))
    return row
