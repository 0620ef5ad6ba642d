"""The papers for the bench: what the bench knows, as the content of a page to print."""

from datetime import datetime

from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics import selectors as bench
from diagnostics.models import BenchSheet, SystemRevision
from reports.document.bench import BenchPaper, PinCard
from reports.document.draw.bench_list import draw_bench_list
from reports.document.draw.pin_card import draw_pin_card
from shop.errors import Conflict
from shop.models import ShopProfile


def bench_list_pdf(sheet: BenchSheet, at: datetime) -> bytes:
    """The bench list of a sheet on one page. Conflict where the car's top system is not declared."""
    work = bench.bench_list_of_sheet(sheet)
    if work is None or sheet.revision is None:
        raise Conflict(_("Nobody has declared this car’s top system, so there is no bench list."))
    system = bench.system_of(sheet.revision)
    content = BenchPaper(
        shop=_shop(),
        car=str(sheet.car),
        vin=sheet.car.vin,
        job=f"{sheet.job.number}: {sheet.job.title}",
        system=_("{title}, revision {revision}").format(title=system.title, revision=system.revision),
        supply=bench.supply_of(sheet, system),
        printed_at=timezone.localtime(at),
        work=work,
    )
    return draw_bench_list(content)


def pin_card_pdf(revision: SystemRevision, at: datetime) -> bytes:
    system = bench.system_of(revision)
    return draw_pin_card(PinCard(_shop(), system, revision.sha256, timezone.localtime(at)))


def _shop() -> str:
    profile = ShopProfile.objects.first()
    return profile.name if profile else ""
