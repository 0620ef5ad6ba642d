"""Pages of the figures: all in one line each, one with its picture and table, the jobs behind a number, files."""

import re
from dataclasses import dataclass
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from diagnostics.charts.words import months_phrase
from diagnostics.learning.records import month_of, month_words
from reports.figures.pictures import picture_of
from reports.figures.records import MONTHS_MOST, Facts, Span, Table
from reports.figures.specs import KEYS, SPECS, Spec
from reports.figures.tables import UNDECLARED, spec_of, table_of
from reports.figures_selectors import comebacks_to_judge, facts_of, jobs_listed, systems_named
from reports.suspect_hits import hits_ask, jobs_to_count
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.models import ComebackCause, Job
from shop.permissions import needs
from shop.services.comebacks import comeback_judge
from shop.tables import csv_answer

PER_PAGE, JUDGED_AT_ONCE = 50, 20
_MONTH = re.compile(r"([0-9]{4})-(0[1-9]|1[0-2])", re.ASCII)


@dataclass(frozen=True, slots=True)
class Asked:
    """What the reader chose: months, top system (None: all, '': not declared), what the rows are."""

    span: Span
    system: str | None
    by: str
    systems: dict[str, str]

    @property
    def query(self) -> str:
        system = "" if self.system is None else self.system or UNDECLARED
        asked = {"from": month_words(self.span.first), "to": month_words(self.span.last), "system": system}
        return urlencode({**asked, "by": self.by})

    def facts(self, *figures: str) -> Facts:
        return facts_of(self.span, figures=figures, systems=self.systems, system=self.system)

    def shown(self) -> dict[str, Any]:
        return {
            "first": month_words(self.span.first),
            "last": month_words(self.span.last),
            "months": months_phrase(self.span.first, self.span.last),
            "system": "" if self.system is None else self.system or UNDECLARED,
            "systems": [*sorted(self.systems.items(), key=lambda one: one[1]), (UNDECLARED, _("not declared"))],
            "by": self.by,
            "query": self.query,
        }


def _asked(request: ShopRequest) -> Asked:
    """ShopError where the months or the system cannot be understood."""
    now = month_of(timezone.localdate())
    last = _month(request.GET.get("to", ""), now)
    first = _month(request.GET.get("from", ""), last - 11)
    if first > last:
        raise ShopError(_("The first month is after the last one; expected the earlier month first."))
    if last - first >= MONTHS_MOST:
        words = _("These are {count} months; expected at most {most} at once.")
        raise ShopError(words.format(count=last - first + 1, most=MONTHS_MOST))
    systems, slug = systems_named(), request.GET.get("system", "")
    if slug and slug != UNDECLARED and slug not in systems:
        raise ShopError(_("There is no top system {slug}; expected one of the list.").format(slug=slug[:40]))
    system = None if not slug else "" if slug == UNDECLARED else slug
    return Asked(Span(first, last), system, request.GET.get("by", ""), systems)


def _month(text: str, otherwise: int) -> int:
    if not text.strip():
        return otherwise
    found = _MONTH.fullmatch(text.strip())
    if found is None or not 1900 <= int(found[1]) <= 2200:
        raise ShopError(_("{text} is no month; expected year and month, such as 2024-03.").format(text=text[:20]))
    return int(found[1]) * 12 + int(found[2]) - 1


def _spec(key: str) -> Spec:
    spec = spec_of(key)
    if spec is None:
        raise Http404
    return spec


@require_safe
@needs("figures.see")
def figures(request: ShopRequest) -> HttpResponse:
    """All figures of the span, one line each."""
    try:
        asked = _asked(request)
    except ShopError as error:
        return render(request, "reports/figures/figures.html", {"error": error.words}, status=error.status)
    facts = asked.facts(*KEYS)
    tables = [table_of(spec, facts, spec.by[0]) for spec in SPECS]
    shown = [(table, list(zip(table.columns, table.total.cells, strict=True))) for table in tables]
    return render(request, "reports/figures/figures.html", {**asked.shown(), "tables": shown})


@require_safe
@needs("figures.see")
def figure(request: ShopRequest, key: str) -> HttpResponse:
    """One figure; `?as=csv` its table as a file."""
    spec = _spec(key)
    try:
        asked = _asked(request)
    except ShopError as error:
        said = {"error": error.words, "title": spec.title(), "key": key}
        return render(request, "reports/figures/figure.html", said, status=error.status)
    facts = asked.facts(key)
    table = table_of(spec, facts, asked.by)
    if request.GET.get("as") == "csv":
        return _csv(table)
    context = {**asked.shown(), "table": table, "title": table.title, "key": key, "picture": picture_of(table)}
    rows = (*table.rows, table.total)
    context["rows"] = [(row, list(zip(table.columns, row.cells, strict=True))) for row in rows]
    context["bys"] = [(one, _by_words(one)) for one in spec.by]
    context["by"] = table.by
    if key in ("comebacks", "right"):
        context["to_judge"], context["unjudged"] = comebacks_to_judge(facts, JUDGED_AT_ONCE)
        context["causes"] = ComebackCause.choices
    if key == "suspects":
        context["to_count"] = jobs_to_count().count()
    return render(request, "reports/figures/figure.html", context)


def _by_words(by: str) -> str:
    return {"month": _("by month"), "system": _("by top system"), "person": _("by person")}[by]


def _csv(table: Table) -> HttpResponse:
    heads = [head for column in table.columns for head in (column.title, _("jobs behind it"))]
    rows = [
        [row.title, *(value for cell in row.cells for value in (cell.words, len(cell.jobs)))]
        for row in (*table.rows, table.total)
    ]
    return csv_answer(f"{table.key}", [[_by_words(table.by), *heads], *rows])


@require_safe
@needs("figures.see")
def figure_jobs(request: ShopRequest, key: str) -> HttpResponse:
    """The jobs behind a number: `row` and `column` of the table."""
    asked = _asked(request)
    table = table_of(_spec(key), asked.facts(key), asked.by)
    found = table.cell(request.GET.get("row", ""), request.GET.get("column", ""))
    if found is None:
        raise ShopError(_("There is no such number in this figure; expected a row and a column of its table."))
    row, column, cell = found
    page = Paginator(jobs_listed(cell.jobs), PER_PAGE).get_page(request.GET.get("page"))
    more = urlencode({"row": row.key, "column": column.key})
    context = {**asked.shown(), "table": table, "row": row, "column": column, "cell": cell, "page": page, "more": more}
    return render(request, "reports/figures/jobs.html", context)


@require_POST
@needs("figures.see")
def hits(request: ShopRequest) -> HttpResponse:
    return redirect(hits_ask(by=request.user))


@require_POST
@needs("job.write")
def comeback(request: ShopRequest, pk: int) -> HttpResponse:
    """Judge a job: `after` the job that the car came back after with its `cause`, or no `after`: no comeback."""
    job = get_object_or_404(Job, pk=pk)
    key = request.POST.get("after", "")
    after = None
    if key:
        after = Job.objects.filter(pk=int(key)).first() if re.fullmatch("[0-9]{1,9}", key) else None
        if after is None:
            raise ShopError(_("There is no such job before; expected one of the same car."))
    comeback_judge(job=job, by=request.user, after=after, cause=request.POST.get("cause", ""))
    return redirect("reports:figure", "comebacks")
