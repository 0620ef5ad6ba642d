"""A commission of an outside buyer, for tests of pages that show one."""

import datetime as dt
from decimal import Decimal
from typing import Any

from django.utils import timezone

from reports.commission.selectors import terms_shown
from reports.commission.services import Wanted, commission_send
from reports.models import Commission
from shop.models import Job, ShopProfile


def commissioned(**change: Any) -> tuple[Commission, str]:
    """One that waits, and the secret of its link; the shop takes them from now on."""
    shop = ShopProfile.objects.first() or ShopProfile(pk=1, name="Verdeckwerk Halden", address="Gerberstraße 14")
    if shop.inspection_fee is None:
        shop.inspection_fee, shop.inspection_terms = Decimal("240.00"), "Paid on the day.\nNo refund after."
        shop.save()
    today = timezone.localdate()
    wanted: dict[str, Any] = {
        "maker": "Halden", "model": "Brise", "year": 2014, "place": "Lorne, Quay 3", "wanted": "Does it leak?",
        "from_on": today, "until_on": today + dt.timedelta(days=9), "name": "Oda Marchbank",
        "email": "oda@buyer.example", "phone": "555 0170",
    }  # fmt: skip
    return commission_send(wanted=Wanted(**(wanted | change)), terms=terms_shown(shop))


def taken_on(job: Job, appointment_on: dt.date | None = None, **change: Any) -> tuple[Commission, str]:
    """One that became `job`, with its appointment (today where none is given), and the secret of its link."""
    made, token = commissioned(**change)
    made.state, made.job, made.appointment_on = "taken", job, appointment_on or timezone.localdate()
    made.save()
    return made, token
