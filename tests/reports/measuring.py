"""Instruments of the shop and their calibrations, for tests of whatever names one."""

import datetime as dt
from decimal import Decimal
from typing import Any

from django.utils import timezone

from reports.instruments import services
from reports.instruments.services import Calibrated, Facts
from reports.models import Calibration, Instrument
from shop.models import User


def instrument(by: User, kind: str = "multimeter", **change: Any) -> Instrument:
    facts: dict[str, Any] = {"kind": kind, "name": "Bench meter 1", "serial": "LM-20417"}
    if kind == "multimeter":
        facts |= {"accuracy_percent": Decimal("0.3"), "accuracy_volts": Decimal("0.02")}
    return services.instrument_add(facts=Facts(**(facts | change)), by=by)


def calibration(row: Instrument, by: User, *, ago: int = 100, lasts: int = 365, **change: Any) -> Calibration:
    """Made so many days ago, for so many days."""
    made = timezone.localdate() - dt.timedelta(days=ago)
    typed: dict[str, Any] = {
        "calibrated_on": made, "valid_until": made + dt.timedelta(days=lasts), "number": f"K-{ago}",
        "laboratory": "Messdienst Halden",
    }  # fmt: skip
    return services.calibration_add(instrument=row, calibrated=Calibrated(**(typed | change)), by=by)
