"""Estimates for tests: made, filled and sent as people do it."""

from decimal import Decimal
from typing import Any

from shop import services
from shop.models import EstimateLine, EstimateVersion, Job, User


def line_of(version: EstimateVersion, by: User, **more: Any) -> EstimateLine:
    """A line of 2 h at 90.00 with 20 % tax, unless `more` says otherwise."""
    usual = {
        "kind": "labour", "words": "Replace the lid switch", "quantity": Decimal(2), "unit": "h",
        "unit_price": Decimal("90.00"), "tax_percent": Decimal(20),
    }  # fmt: skip
    return services.line_keep(version=version, by=by, **(usual | more))


def drafted(job: Job, by: User) -> EstimateVersion:
    """A draft with labour of 180.00 and a part of 41.35."""
    version = services.estimate_make(job=job, by=by, from_plan=False)
    line_of(version, by)
    line_of(
        version, by, kind="part", words="Lid switch", quantity=Decimal(1), unit="piece", unit_price=Decimal("41.35")
    )
    return version


def sent(job: Job, by: User, **more: Any) -> tuple[EstimateVersion, str]:
    """The same, sent; with the secret of its link."""
    version = drafted(job, by)
    return version, services.estimate_send(version=version, by=by, **({"to": "ada@post.example", "hold": False} | more))
