"""Where the pieces of a batch went: the cars to call back when it turns out bad."""

import datetime as dt
from dataclasses import dataclass

from diagnostics.models import Unit
from parts.models import Lot
from shop.models import Car, Job


@dataclass(frozen=True, slots=True)
class CarOfLot:
    """`pieces` of the batch in a car: fitted at `position` as `unit`, or handed out to the job with '' and None. `at`:
    when they left the shelf."""

    car: Car
    job: Job
    position: str
    pieces: int
    at: dt.datetime
    unit: Unit | None


def cars_of_lot(lot: Lot) -> tuple[CarOfLot, ...]:
    """Cars that pieces of a batch are still in, the first fitted first; one query. What was taken off again, came back
    or was taken back is in none."""
    rows = lot.movements.exclude(job=None).exclude(shelf=0).select_related("job__car", "unit").order_by("at", "pk")
    fitted: list[CarOfLot] = []
    out: dict[int, CarOfLot] = {}
    for row in rows:
        if row.job is None:
            continue
        if row.unit is not None:
            if row.unit.removed_on is None:
                fitted.append(CarOfLot(row.job.car, row.job, row.unit.position, -row.shelf, row.at, row.unit))
            continue
        before = out.get(row.job_id or 0)
        pieces = (before.pieces if before else 0) - row.shelf
        out[row.job.pk] = CarOfLot(row.job.car, row.job, "", pieces, before.at if before else row.at, None)
    found = [*fitted, *(one for one in out.values() if one.pieces > 0)]
    return tuple(sorted(found, key=lambda one: one.at))
