"""What goes along with one car for its owner: the car's technical history, and that owner's own jobs. No other person's
name, words or prices."""

from collections.abc import Iterator, Sequence
from functools import partial
from typing import IO, Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.models import Check, Unit, Work
from reports.models import Certificate, CertificateState
from reports.take.archive import archive_to
from shop.models import Car, Job, Picture, User
from shop.permissions import require
from shop.selectors.owners import cars_of_customer
from shop.services import trail_record

_README = """Topwright: what goes along with the car {vin}, as it stood at {at}.

Each table is there as CSV (UTF-8, commas, a heading) and as JSON lines.

car: vin, plate, maker, model, made_on (first day of the production month, or January where year_only), climate, system
odometer: read_on, km
units: position, part, revision, serial, fitted_on (empty: the original part), removed_on
work: at, position, kind, mode (the fault that it took away), part (fitted, where one was)
checks: at, position, check, verdict, words (what the reading says)
jobs: this owner's own jobs: number, title, complaint, stage, opened_at, finished_at
files/: pictures and certificates of this owner's own jobs
manifest.json: SHA-256, bytes and rows of every entry, and files that nobody has any more

Work and checks are those of the car's whole life here; who made them, and other owners' jobs, are left out.
"""


@transaction.atomic
def car_take(out: IO[bytes], *, car: Car, by: User) -> None:
    """Write the zip of a car for its owner of today to a seekable file; the trail says that it was made."""
    require(by, "records.take")
    at, own = timezone.now(), _own_jobs(car)
    with archive_to(out) as archive:
        archive.text("README.txt", _README.format(vin=car.vin, at=at.isoformat()))
        for name, columns, rows in _tables(car, own):
            archive.table(name, columns, partial(iter, rows))
        for picture in Picture.objects.filter(job__in=own):
            archive.stored(picture.file.storage, str(picture.file.name))
        for paper in Certificate.objects.filter(job__in=own).exclude(state=CertificateState.ISSUING):
            archive.stored(paper.file.storage, str(paper.file.name))
        archive.finish(made_at=at.isoformat(), vin=car.vin)
    words = _("The car’s records were written out for its owner.")
    trail_record(by=by, car=car, kind="records.taken", words=words, link=car.get_absolute_url())


def _own_jobs(car: Car) -> list[Job]:
    """The jobs of the times in which the car was its present owner's; none of a car that has no owner here."""
    if car.owner is None:
        return []
    return [job for time in cars_of_customer(car.owner) if time.car == car for job in time.jobs]


def _tables(car: Car, own: Sequence[Job]) -> Iterator[tuple[str, tuple[str, ...], list[Sequence[Any]]]]:
    facts = ("vin", "plate", "maker", "model", "made_on", "year_only", "climate", "system")
    yield "car", facts, [[getattr(car, name) for name in facts]]
    yield "odometer", ("read_on", "km"), list(car.odometer.values_list("read_on", "km"))
    units = ("position", "part", "revision", "serial", "fitted_on", "removed_on")
    yield "units", units, list(Unit.objects.filter(car=car).order_by("pk").values_list(*units))
    work = Work.objects.filter(job__car=car).values_list("at", "position", "kind", "mode", "new_unit__part")
    yield "work", ("at", "position", "kind", "mode", "part"), list(work)
    checks = Check.objects.filter(sheet__car=car, struck_at__isnull=True)
    said = ("at", "position", "kind", "verdict", "words")
    yield "checks", ("at", "position", "check", "verdict", "words"), list(checks.values_list(*said))
    jobs = ("number", "title", "complaint", "stage", "opened_at", "finished_at")
    yield "jobs", jobs, [[getattr(job, name) for name in jobs] for job in own]
