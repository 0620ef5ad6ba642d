"""Pages of records: a table is sent in, matched, looked at row by row, and brought; and all of them taken along."""

import io
import uuid
from typing import Any

from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from reports import bring, take
from reports.models import ImportedFile
from reports.records.columns import FIELDS, KINDS, field_words, kind_words, matched
from reports.records.fates import FATES
from reports.records.tables import MOST_ROWS
from reports.records_selectors import fates_found, first_rows, imports_found
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.models import Car, RunState, TaskRun
from shop.permissions import needs, require

PER_PAGE = 100


@require_http_methods(["GET", "HEAD", "POST"])
@needs("records.bring")
def records(request: ShopRequest) -> HttpResponse:
    if request.method != "POST":
        return _records(request, "")
    upload = request.FILES.get("file")
    if upload is None:
        return _records(request, _("Choose a file; expected a table as CSV or XLSX."))
    try:
        return redirect(bring.import_send(upload=upload, by=request.user))
    except ShopError as error:
        return _records(request, error.words)


def _records(request: ShopRequest, error: str) -> HttpResponse:
    context = {
        "imports": imports_found(),
        "error": error,
        "exports": take.exports_there(),
        "most_mb": bring.LARGEST // (1024 * 1024),
        "most_rows": MOST_ROWS,
    }
    return render(request, "reports/records.html", context, status=422 if error else 200)


@require_http_methods(["GET", "HEAD", "POST"])
@needs("records.bring")
def imported(request: ShopRequest, pk: int) -> HttpResponse:
    """The page of a file; POST says what it holds and has every row looked at."""
    row = get_object_or_404(ImportedFile.objects.select_related("run", "by"), pk=pk)
    if request.method != "POST":
        return _imported(request, row, request.GET, "")
    kind = request.POST.get("kind", "")
    matching = {field.name: request.POST.get(f"field-{field.name}", "") for field in FIELDS.get(kind, ())}
    try:
        row = bring.import_match(
            row=row,
            by=request.user,
            kind=kind,
            matching={name: heading for name, heading in matching.items() if heading},
            order=request.POST.get("order", ""),
            sheet=request.POST.get("sheet", ""),
        )
        return redirect(bring.import_ask(row=row, by=request.user, dry_run=True))
    except ShopError as error:
        row.refresh_from_db()
        return _imported(request, row, request.POST, error.words, error.status)


def _imported(request: ShopRequest, row: ImportedFile, asked: Any, error: str, status: int = 200) -> HttpResponse:
    fate = asked.get("fate", "")
    fate = fate if fate in FATES else ""
    counts = [(name, row.fates.get(name, 0)) for name in FATES]
    found = fates_found(row, fate)
    context: dict[str, Any] = {
        "row": row,
        "error": error,
        "fate": fate,
        "counts": counts,
        "all": sum(count for _name, count in counts),
        # A paginator asks for the length and for slices alone; its types ask for a whole sequence.
        "fates": Paginator(found, PER_PAGE).get_page(asked.get("page")) if found else None,  # type: ignore[arg-type]
    }
    if row.file:
        context |= _matching(row, asked)
    return render(request, "reports/import.html", context, status=status)


def _matching(row: ImportedFile, asked: Any) -> dict[str, Any]:
    """The first rows, and which column each field is matched to: as asked, as kept, else as guessed."""
    row.sheet = asked.get("sheet", row.sheet)
    kind = asked.get("kind", row.kind)
    kind = kind if kind in KINDS else ""
    try:
        table = bring.table_of_file(row)
        shown = first_rows(table)
    except ShopError as error:
        return {"broken": error.words}
    chosen = row.matching if kind == row.kind else matched(table.headings, kind) if kind else {}
    fields = [
        (field, field_words(field.name), asked.get(f"field-{field.name}", chosen.get(field.name, "")))
        for field in FIELDS.get(kind, ())
    ]
    return {
        "table": table,
        "shown": shown,
        "kind": kind,
        "kind_words": kind_words(kind) if kind else "",
        "kinds": [(name, kind_words(name)) for name in KINDS],
        "fields": fields,
        "order": asked.get("order", row.order),
        "orders": [("", _("read from the table")), ("dmy", _("the day first")), ("mdy", _("the month first"))],
    }


@require_POST
@needs("records.bring")
def imported_bring(request: ShopRequest, pk: int) -> HttpResponse:
    return redirect(bring.import_ask(row=get_object_or_404(ImportedFile, pk=pk), by=request.user, dry_run=False))


@require_POST
@needs("records.bring")
def imported_drop(request: ShopRequest, pk: int) -> HttpResponse:
    bring.import_drop(row=get_object_or_404(ImportedFile, pk=pk), by=request.user)
    return redirect("reports:records")


@require_GET
@needs("records.bring")
def imported_fates(request: ShopRequest, pk: int) -> HttpResponse:
    """Every row with its fate, as CSV."""
    row = get_object_or_404(ImportedFile.objects.exclude(fates_file=""), pk=pk)
    try:
        with row.fates_file.open("rb") as file:
            rows = file.read()
    except OSError as error:
        raise Http404 from error
    response = HttpResponse(rows, content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="rows-{pk}.csv"'
    response["Cache-Control"] = "private, no-store"
    return response


@require_POST
@needs("records.take")
def export_ask(request: ShopRequest) -> HttpResponse:
    return redirect(take.export_ask(by=request.user))


@require_GET
def export_file(request: ShopRequest, pk: uuid.UUID) -> FileResponse:
    require(request.user, "records.take")
    run = get_object_or_404(TaskRun, pk=pk, kind=take.KIND, state=RunState.DONE)
    try:
        file = take.export_path(run).open("rb")
    except OSError as error:
        raise Http404 from error
    return _zip(FileResponse(file), f"topwright-{run.queued_at:%Y-%m-%d}.zip")


@require_POST
def car_take(request: ShopRequest, pk: int) -> FileResponse:
    """What goes along with a car, for its owner."""
    require(request.user, "records.take")
    car = get_object_or_404(Car.objects.select_related("owner"), pk=pk)
    file = io.BytesIO()
    take.car_take(file, car=car, by=request.user)
    file.seek(0)
    return _zip(FileResponse(file), f"{car.vin}.zip")


def _zip(response: FileResponse, name: str) -> FileResponse:
    response["Content-Type"] = "application/zip"
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response["Cache-Control"] = "private, no-store"
    return response
