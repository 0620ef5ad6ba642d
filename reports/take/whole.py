"""Everything that the shop has in its books, as one zip, as it stood at one moment."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import IO, Any

from django.db import connection
from django.db.models import OuterRef, Prefetch, Subquery
from django.db.models.functions import TruncDate
from django.utils import timezone
from django.utils.translation import gettext as _

from diagnostics.models import Unit
from parts.models import Lot, Part, Tracking
from reports.records.columns import FIELDS
from reports.take.archive import Archive, archive_to
from reports.take.plan import Exported, about, exported
from shop.models import Car, Job, OdometerReading

CHUNK = 2000
Tell = Callable[[int, int, str], None]
"""Parts done, parts in all, words; may raise Cancelled."""

_README = """Topwright: everything that this shop has in its books, as it stood at {at}.

Tables. Each is there twice: as CSV (UTF-8, commas, RFC 4180, a heading; what is empty and what is the empty text look
alike) and as JSON lines (one object a row, null where there is nothing). `id` is the number of a row; a column such as
`car_id` names a row of another table. Passwords, second factors and the secrets of links are left out.
A spreadsheet may take a text that begins with = + - or @ for a formula: open the CSV as text.

again/ holds cars, jobs, fitted parts and stock in the form in which Records takes tables in, to be brought into an
empty shop in this order: cars, jobs, fitted, stock. Checks do not come along that way; they stand in diagnostics/check.
Units whose part number nobody knows are left out of again/fitted.csv, and barred batches out of again/stock.csv:
brought again, nothing would stand against them. Of parts followed by batch or serial number the catalogue has to say
so first.

files/ holds pictures and certificates under the names that the tables give. manifest.json has the SHA-256, the bytes
and the rows of every entry, and the files that the books name but nobody has any more.

"""


def export_write(out: IO[bytes], *, tell: Tell = lambda _done, _total, _words: None) -> dict[str, Any]:
    """Write the zip to a seekable file, rows streamed; the entries of its manifest. `tell` must not write by this
    connection: what is read is one moment's."""
    at, tables = timezone.now(), exported()
    with archive_to(out) as archive, one_moment():
        archive.text("README.txt", _README.format(at=at.isoformat()) + "\n\n".join(about(one) for one in tables) + "\n")
        parts = len(tables) + 2
        for done, one in enumerate(tables):
            tell(done, parts, one.name)
            archive.table(one.name, one.columns, _rows_of(one))
        tell(parts - 2, parts, _("Tables to be brought again"))
        _again(archive)
        tell(parts - 1, parts, _("Pictures and certificates"))
        for one in tables:
            _files(archive, one)
        archive.finish(made_at=at.isoformat(), tables=[one.name for one in tables])
    return archive.entries


@contextmanager
def one_moment() -> Iterator[None]:
    """All that is read inside is as it stood at one moment, while others go on writing. Inside a transaction that
    somebody has begun it is that one's."""
    if connection.in_atomic_block:
        yield
        return
    # Django's own transactions take the write lock of SQLite at once (shop/settings.py); this one never writes.
    repeatable = "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"
    with connection.cursor() as cursor:
        cursor.execute(repeatable if connection.vendor == "postgresql" else "BEGIN DEFERRED")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute("ROLLBACK")


def _rows_of(one: Exported) -> Callable[[], Iterator[Sequence[Any]]]:
    def rows() -> Iterator[Sequence[Any]]:
        found = one.model._base_manager.order_by("pk").values_list(*one.columns)
        yield from found.iterator(chunk_size=CHUNK)

    return rows


def _files(archive: Archive, one: Exported) -> None:
    for name in one.files:
        storage = one.model._meta.get_field(name).storage  # type: ignore[union-attr]
        for stored in one.model._base_manager.exclude(**{name: ""}).order_by("pk").values_list(name, flat=True):
            archive.stored(storage, stored)


def _again(archive: Archive) -> None:
    """Tables that Records takes in, headed by the names of their fields."""
    for kind, rows in (("cars", _cars), ("jobs", _jobs), ("fitted", _fitted), ("stock", _stock)):
        archive.csv(f"again/{kind}", [field.name for field in FIELDS[kind]], rows)


def _cars() -> Iterator[Sequence[Any]]:
    rows = Car.objects.filter(merged_into=None).select_related("owner").order_by("pk")
    for car in rows.iterator(chunk_size=CHUNK):
        made = f"{car.made_on.year}" if car.year_only else f"{car.made_on:%Y-%m}"
        owner = (car.owner.name, car.owner.email, car.owner.phone) if car.owner else ("", "", "")
        yield car.vin, car.plate, car.maker, car.model, made, car.known_from, car.climate, car.system, *owner


def _jobs() -> Iterator[Sequence[Any]]:
    """A job without a number in older records is known by its own; the odometer is the one read that day."""
    read = OdometerReading.objects.filter(car=OuterRef("car"), read_on=OuterRef("opened_on")).values("km")[:1]
    rows = Job.objects.annotate(opened_on=TruncDate("opened_at")).annotate(km=Subquery(read))
    for job in rows.select_related("car").order_by("pk").iterator(chunk_size=CHUNK):
        yield (
            job.reference or job.number,
            job.car.vin,
            job.title,
            job.complaint,
            timezone.localtime(job.opened_at).isoformat(),
            timezone.localtime(job.finished_at).isoformat() if job.finished_at else "",
            job.km,
        )


def _fitted() -> Iterator[Sequence[Any]]:
    rows = Unit.objects.exclude(part="").filter(car__merged_into=None).select_related("car").order_by("pk")
    for unit in rows.iterator(chunk_size=CHUNK):
        yield (
            unit.car.vin,
            unit.position,
            unit.part,
            unit.revision,
            unit.fitted_on,
            unit.removed_on,
            unit.removed_why,
        )


def _stock() -> Iterator[Sequence[Any]]:
    """Pieces on the shelf, reserved ones too: a part as a whole, or by batch where it is followed."""
    lots = Prefetch("lots", Lot.objects.filter(quantity__gt=0, barred=""))
    parts = Part.objects.select_related("stock").prefetch_related(lots).order_by("pk")
    for part in parts.iterator(chunk_size=CHUNK):
        if part.tracking != Tracking.NONE:
            for lot in part.lots.all():
                yield part.number, lot.quantity, part.name, part.place, lot.number
        else:
            yield part.number, part.stock.shelf if hasattr(part, "stock") else 0, part.name, part.place, ""
