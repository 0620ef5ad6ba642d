"""A fleet of cars, each seen once, in which one production range stands out."""

import datetime as dt

import numpy as np
from django.utils import timezone

from diagnostics.engine.faults import MODE_BITS
from diagnostics.models import BenchSheet, Sighting
from shop.models import Car, Job, User
from tests.diagnostics.bench import publish

HEADER, LID = ("rht-trio", "TW-BGA-3014"), ("rht-trio", "TW-BGB-3022")
GOOD = sum(MODE_BITS.values())


def make_fleet(job: Job, tech: User, owner: User) -> list[BenchSheet]:
    """150 cars of ten production years, each seen once: of the header switches of the first three years two in three
    had failed, of the later ones one in twenty."""
    publish(owner)
    draw = np.random.default_rng(41)
    months = draw.integers(2004 * 12, 2014 * 12, 150)
    cars = Car.objects.bulk_create(
        Car(
            vin=f"0TWAH5903RT{number:06d}",
            maker="Halden",
            model="Brise",
            made_on=dt.date(int(month) // 12, int(month) % 12 + 1, 1),
            climate="temperate",
            system="rht-trio",
            owner=job.car.owner,
        )
        for number, month in enumerate(months, 100)
    )
    now = timezone.now()
    sheets = BenchSheet.objects.bulk_create(
        BenchSheet(job=job, car=car, opened_by=tech, opened_at=now, closed_at=now, sighted=True) for car in cars
    )
    seen = []
    for sheet, month in zip(sheets, months, strict=True):
        on = dt.date(int(month) // 12 + 1 + int(draw.integers(1, 8)), 6, 1)
        for part, position in ((HEADER[1], "BG3"), (LID[1], "BG5")):
            bad = draw.random() < (0.66 if part == HEADER[1] and month < 2007 * 12 else 0.05)
            seen.append(a_sighting(sheet, part, position, on, "stays-made" if bad else ""))
    Sighting.objects.bulk_create(seen)
    return sheets


def a_sighting(sheet: BenchSheet, part: str, position: str, on: dt.date, failed: str) -> Sighting:
    good = 0 if failed else GOOD
    kind = {"system": "rht-trio", "part": part, "position": position}
    return Sighting(sheet=sheet, car=sheet.car, on=on, good=good, failed=failed, observations=1, **kind)
