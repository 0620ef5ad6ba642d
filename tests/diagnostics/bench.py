"""Helpers of the bench tests: a published system, a simulated fault at the pins, entries by request."""

import uuid
from pathlib import Path
from typing import Any

from django.conf import settings
from django.test import Client

from diagnostics import services
from diagnostics.engine.motion import pin_state
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, Check, SystemRevision
from diagnostics.selectors import system_of
from shop.models import Job, User

SUPPLY = 12.6


def publish(by: User, slug: str = "rht-trio") -> SystemRevision:
    path = Path(settings.FIXTURES_DIR) / "systems" / f"{slug}.yaml"
    return services.system_publish(text=path.read_text(), source=path.name, by=by)


def opened(job: Job, by: User, *, supply: float | None = SUPPLY) -> BenchSheet:
    sheet = services.sheet_open(job=job, by=by)
    return services.sheet_set_pose(sheet=sheet, by=by, pose=sheet.pose, supply_volts=supply, ignition_on=True)


def system_of_sheet(sheet: BenchSheet) -> TopSystem:
    assert sheet.revision is not None
    return system_of(sheet.revision)


def sound_volts(sheet: BenchSheet, position: str) -> float:
    """What a sound contact gives at the pin in the sheet's pose: near ground or near the supply."""
    one = system_of_sheet(sheet).positions[position]
    assert one.pin is not None
    made = pin_state(system_of_sheet(sheet), position, sheet.pose) == "made"
    return 0.1 if made == (one.pin.made_reads == "low") else SUPPLY - 0.1


def add(sheet: BenchSheet, by: User, **observation: Any) -> Check:
    return services.check_add(sheet=sheet, by=by, observation=observation, entry_id=uuid.uuid4())


def post_check(client: Client, sheet: BenchSheet, *, htmx: bool = True, **fields: Any) -> Any:
    headers = {"HX-Request": "true"} if htmx else {}
    return client.post(f"/sheets/{sheet.pk}/checks/", {"entry_id": str(uuid.uuid4()), **fields}, headers=headers)


def words(response: Any) -> str:
    return str(response.content.decode())
