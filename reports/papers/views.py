"""The papers of a job as files: shown in the browser, which prints them; never kept by anybody in between."""

from django.contrib.auth.decorators import login_not_required
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from reports.papers.estimate import estimate_pdf
from reports.papers.job_sheet import job_sheet_pdf
from reports.papers.work_report import jobs_to_report, work_report_pdf
from shop import limits
from shop.http import ShopRequest, no_path_told, paper_shown, sender_address
from shop.models import EstimateVersion, Job
from shop.permissions import needs
from shop.selectors.estimates import versions_with_lines
from shop.services.people import token_hash
from shop.views.answers import GUESSES_AN_HOUR


@require_safe
@needs("job.write")
def job_sheet(request: ShopRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(Job.objects.select_related("car"), pk=pk)
    return paper_shown(job_sheet_pdf(job), f"job-sheet-{job.number}.pdf")


@require_safe
@needs("job.write")
def work_report(request: ShopRequest, pk: int) -> HttpResponse:
    job = get_object_or_404(jobs_to_report(), pk=pk)
    return paper_shown(work_report_pdf(job, request.user), f"work-report-{job.number}.pdf")


@require_safe
@needs("estimate.write")
def estimate(request: ShopRequest, pk: int) -> HttpResponse:
    return _estimate(get_object_or_404(_versions(), pk=pk))


@login_not_required
@never_cache
@require_safe
def estimate_public(request: HttpRequest, token: str) -> HttpResponse:
    """For whoever has the private link of the estimate; a guess counts with those at its page."""
    version = _versions().filter(token_hash=token_hash(token)).first()
    if version is None:
        words = _("Too much was asked for from your address within an hour. Try again later.")
        limits.count("estimate-guess", sender_address(request), most=GUESSES_AN_HOUR, words=words)
        words = _("This link opens nothing. Ask the shop for a new one.")
        return no_path_told(render(request, "shop/error.html", {"status": 404, "words": words}, status=404))
    return no_path_told(_estimate(version))


def _versions() -> QuerySet[EstimateVersion]:
    return versions_with_lines().select_related("estimate__job__car")


def _estimate(version: EstimateVersion) -> HttpResponse:
    name = f"estimate-{version.estimate.job.number}-{version.estimate.number}-{version.version}.pdf"
    return paper_shown(estimate_pdf(version), name)
