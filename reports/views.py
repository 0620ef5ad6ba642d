"""Pages of certificates: the list, one of them, its file, and the panels that the job and the car file load."""

from hashlib import sha256

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST
from django.views.decorators.vary import vary_on_headers

from diagnostics.models import BenchSheet
from diagnostics.selectors import revision_asked
from reports import selectors, services
from reports.bench import bench_list_pdf, pin_card_pdf
from reports.document.content import PutRight
from reports.document.draw.inspection import plan_words
from reports.document.draw.instruments import instrument_words
from reports.document.draw.put_right import cost_cells, cost_remarks, cost_words
from reports.document.draw.states import STATEMENTS, WEIGHTS, statement_words, weight_words
from reports.models import Certificate, CertificateState
from reports.open_findings import findings_open
from reports.ranges import ranges_pdf
from shop.errors import Conflict
from shop.http import ShopRequest, paper_shown
from shop.models import Car, Job
from shop.permissions import needs


@require_GET
@vary_on_headers("HX-Request")
def certificates(request: ShopRequest) -> HttpResponse:
    words = request.GET.get("q", "").strip()
    part = "#found" if request.htmx else ""
    found = selectors.certificates_found(words)
    context = {"certificates": found, "words": words, "at_most": selectors.FOUND_AT_MOST}
    return render(request, f"reports/certificates.html{part}", context)


@require_GET
def certificate(request: ShopRequest, number: str) -> HttpResponse:
    beside = ("car", "job", "run", "replaces", "replaced_by", "asked_by", "withdrawn_by")
    rows = Certificate.objects.select_related(*beside)
    found = get_object_or_404(rows, number=number)
    content = selectors.content_of(found)
    tested = content.results.proof
    context = {
        "certificate": found,
        "content": content,
        "language": selectors.language_name(content.language),
        "statement": statement_words(content.overall.statement),
        "statement_shape": TAGS[STATEMENTS[content.overall.statement][0]],
        "findings": [(TAGS[WEIGHTS[one.weight][0]], weight_words(one.weight), one) for one in content.results.findings],
        "plan_words": plan_words(content.results.plan) if content.results.plan else "",
        "proven": sum(row.made and row.released for row in tested),
        "sensors": len(tested),
        "pictures": selectors.pictures_on(found, content),
        "instruments": [(one, instrument_words(one)) for one in content.instruments],
        **_costs(content.put_right),
    }
    return render(request, "reports/certificate.html", context)


def _costs(costs: PutRight | None) -> dict[str, object]:
    """In the very words of the paper."""
    if costs is None:
        return {}
    rows = [cost_cells(row, costs.currency) for row in costs.rows]
    return {"costs": costs, "cost_words": cost_words(costs), "cost_rows": rows, "cost_remarks": cost_remarks(costs)}


# The shapes on paper and their tags on the page.
TAGS = {
    "disc": "ok",
    "half": "half",
    "ring": "open",
    "diamond": "finding",
    "diamond-open": "finding",
    "triangle": "note",
    "octagon": "refused",
}


@require_GET
def certificate_file(request: ShopRequest, number: str) -> HttpResponse:
    """The file byte for byte as it was issued, or a sentence where it no longer is that."""
    return pdf_of(get_object_or_404(Certificate.objects.exclude(state=CertificateState.ISSUING), number=number))


def pdf_of(found: Certificate) -> HttpResponse:
    """The file as it was issued; Conflict where the store has it no more, or another one."""
    try:
        with found.file.open("rb") as file:
            pdf = file.read()
    except OSError as error:
        raise Conflict(
            _("The file of {number} is gone from the store; restore it from a backup.").format(number=found.number)
        ) from error
    if sha256(pdf).hexdigest() != found.sha256:
        raise Conflict(
            _("The stored file of {number} is not what was issued; restore it from a backup.").format(
                number=found.number
            )
        )
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'attachment; filename="{found.number}.pdf"'
    response["Cache-Control"] = "private, no-store"
    return response


@require_POST
@needs("certificate.withdraw")
def withdraw(request: ShopRequest, number: str) -> HttpResponse:
    found = get_object_or_404(Certificate, number=number)
    services.certificate_withdraw(certificate=found, reason=request.POST.get("reason", ""), by=request.user)
    return redirect(found)


@require_POST
@needs("certificate.issue")
def issue(request: ShopRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job, pk=pk)
    language = request.POST.get("language", "")
    made, run = services.certificate_ask(job=job, by=request.user, language=language)
    if request.htmx:
        return _job_panel(request, job, made)
    return redirect(made if run is None or made.state != CertificateState.ISSUING else run)


@require_GET
@vary_on_headers("HX-Request")
def job_panel(request: ShopRequest, pk: int) -> HttpResponse:
    return _job_panel(request, get_object_or_404(Job.objects.select_related("car"), pk=pk), None)


def _job_panel(request: ShopRequest, job: Job, asked: Certificate | None) -> HttpResponse:
    part = "#panel" if request.htmx else ""
    unchanged = asked is not None and asked.state == CertificateState.ISSUED
    context = {"job": job, "panel": selectors.job_panel(job), "unchanged": asked if unchanged else None}
    context |= {"languages": selectors.languages_offered(job)}
    return render(request, f"reports/job_panel.html{part}", context)


@require_GET
@vary_on_headers("HX-Request")
def car_panel(request: ShopRequest, pk: int) -> HttpResponse:
    car = get_object_or_404(Car, pk=pk)
    part = "#panel" if request.htmx else ""
    context = {"car": car, "certificates": selectors.certificates_of_car(car)}
    return render(request, f"reports/car_panel.html{part}", context)


@require_GET
@vary_on_headers("HX-Request")
def car_findings(request: ShopRequest, pk: int) -> HttpResponse:
    car = get_object_or_404(Car, pk=pk)
    part = "#findings" if request.htmx else ""
    return render(request, f"reports/car_findings.html{part}", {"car": car, "findings": findings_open(car)})


@require_GET
def bench_list(request: ShopRequest, pk: int) -> HttpResponse:
    """The bench list of a sheet on one page, as things stand now."""
    sheet = get_object_or_404(BenchSheet.objects.select_related("revision", "car", "job"), pk=pk)
    return paper_shown(bench_list_pdf(sheet, timezone.now()), f"bench-list-{sheet.job.number}-{sheet.pk}.pdf")


@require_GET
def pin_card(request: ShopRequest, slug: str) -> HttpResponse:
    """The pin card of the newest revision of a system, or of `?revision=`."""
    revision = revision_asked(slug, request.GET.get("revision", ""))
    if revision is None:
        raise Http404
    return paper_shown(pin_card_pdf(revision, timezone.now()), f"pin-card-{slug}-{revision.revision}.pdf")


@require_GET
def ranges(request: ShopRequest, slug: str) -> HttpResponse:
    """The failure patterns of a top system on paper."""
    pdf = ranges_pdf(slug, timezone.now())
    if pdf is None:
        raise Http404
    return paper_shown(pdf, f"ranges-{slug}.pdf")
