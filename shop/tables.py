"""Tables as files for a spreadsheet."""

import csv
from collections.abc import Iterable

from django.http import HttpResponse


def csv_answer(name: str, rows: Iterable[Iterable[object]]) -> HttpResponse:
    """A file of rows to keep. Text that a spreadsheet would take for a formula begins with an apostrophe."""
    answer = HttpResponse(content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    answer.write("\ufeff")
    writer = csv.writer(answer)
    for row in rows:
        writer.writerow([_cell(one) for one in row])
    return answer


def _cell(value: object) -> object:
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value
