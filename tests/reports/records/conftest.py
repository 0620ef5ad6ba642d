"""Tables to bring, as small files."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from reports.bring import Brought, records_import, table_asked
from reports.records.tables import open_table
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


def fates(brought: Brought) -> list[tuple[int, str]]:
    return [(fate.row, fate.fate) for fate in brought.fates]
