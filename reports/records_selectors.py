"""The reads of old records: what was sent in, its first rows, and what becomes of them."""

import csv
import io
from itertools import islice

from reports.models import ImportedFile
from reports.records.fates import Fate, FateName
from reports.records.tables import Cell, Table, TableError
from reports.records.values import text
from shop.errors import ShopError

FOUND_AT_MOST = 50
SHOWN_ROWS = 5
SHOWN_CHARACTERS = 60


def imports_found() -> list[ImportedFile]:
    return list(ImportedFile.objects.select_related("by", "run")[:FOUND_AT_MOST])


def first_rows(table: Table) -> list[tuple[int, list[str]]]:
    """The numbers and words of the first rows. ShopError where the file breaks off in them."""
    try:
        return [(row.number, [_short(cell) for cell in row.cells]) for row in islice(table.rows(), SHOWN_ROWS)]
    except TableError as error:
        raise ShopError(str(error)) from error


def _short(cell: Cell) -> str:
    words = text(cell)
    return words if len(words) <= SHOWN_CHARACTERS else words[: SHOWN_CHARACTERS - 1] + "…"


class Fates:
    """The rows of a kept CSV of fates, those of one fate or all, as a paginator takes them; read no further than is
    looked at."""

    def __init__(self, row: ImportedFile, fate: str) -> None:
        self.row, self.fate = row, fate

    def __len__(self) -> int:
        counts = self.row.fates
        return int(counts.get(self.fate, 0) if self.fate else sum(counts.values()))

    def __getitem__(self, places: slice) -> list[Fate]:
        names: dict[str, FateName] = {"new": "new", "same": "same", "changed": "changed", "refused": "refused"}
        try:
            with self.row.fates_file.open("rb") as file:
                lines = csv.reader(io.TextIOWrapper(file, encoding="utf-8", newline=""))
                next(lines, None)
                wanted = (line for line in lines if not self.fate or line[1] == self.fate)
                found = list(islice(wanted, places.start, places.stop))
        except OSError:  # deleted meanwhile
            return []
        return [Fate(int(number), names[fate], key, words) for number, fate, key, words in found]


def fates_found(row: ImportedFile, fate: str) -> Fates | None:
    """The fates of its rows, of one kind or all (''); None where they were not looked at or are deleted."""
    return Fates(row, fate) if row.fates_file else None
