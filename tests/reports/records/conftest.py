"""Tables to bring, as small files."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from reports.bring import Brought, import_ask, import_send, records_import, table_asked
from reports.models import ImportedFile
from reports.records.tables import open_table
from reports.tasks import records_import_task
from shop.models import User

Bring = Callable[..., Brought]


@pytest.fixture
def bring(owner: User, tmp_path: Path) -> Bring:
    """`bring(text)`: a CSV brought as the owner would; kind and columns from its headings."""

    def brought(text: str, *, dry_run: bool = False, by: User = owner, kind: str = "", **more: Any) -> Brought:
        path = tmp_path / "table.csv"
        path.write_text(text)
        table = open_table(path)
        asked = table_asked(table, kind, {})
        return records_import(table=table, kind=asked.kind, matching=asked.matching, by=by, dry_run=dry_run, **more)

    return brought


def sent_in(owner: User, text: str) -> ImportedFile:
    """A table as it is sent in from the page."""
    return import_send(upload=SimpleUploadedFile("cars.csv", text.encode()), by=owner)


def judged_import(owner: User) -> ImportedFile:
    """A table of one car whose row has been looked at."""
    row = sent_in(owner, "VIN,Maker,Model,Built\n0TWAH5903RT000031,Halden,Brise,2014-06\n")
    run = import_ask(row=row, by=owner, dry_run=True)
    records_import_task(str(run.pk), row.pk, True)
    row.refresh_from_db()
    return row


def fates(brought: Brought) -> list[tuple[int, str]]:
    return [(fate.row, fate.fate) for fate in brought.fates]
