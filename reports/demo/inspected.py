"""Inspections by plan of the cars whose certificates are drawn, and commissions of people from outside: one that waits,
one that was declined, one whose certificate is there."""

import uuid
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.utils import timezone

from diagnostics.engine.case import MotionTrial, observation_of
from diagnostics.engine.inspection.items import Item
from diagnostics.engine.signals import judge
from diagnostics.models import BenchSheet, Check
from diagnostics.selectors import system_of
from reports.commission.models import Commission, CommissionState, TopKind
from reports.commission.selectors import terms_shown
from reports.document.compose.coverage import SKIP
from reports.inspection.models import Inspection, InspectionAnswer
from reports.inspection.selectors import standing_of
from shop.models import Job, ShopProfile, TrailEntry, User

_SPACE = uuid.UUID("0b6b0f2e-6f0c-4a53-9d0e-6a7b51f3c2d4")
AGAIN = (1.02, 0.97)
"""How much longer the second and the third trial of a motion took than the first."""


@dataclass(frozen=True, slots=True)
class Told:
    grade: str
    words: str = ""
    measured: str = ""


IN_ORDER: Mapping[str, Told] = {
    "surroundings": Told("noted", "In the hall, dry; the car had stood inside since the day before", "17.5"),
    "leaks": Told("dry"),
    "latches": Told("hold"),
    "linkage": Told("none"),
    "seals": Told("dry", "From above and from both sides, with the hose open and no nozzle", "12"),
    "cover": Told("sound"),
    "gaps": Told("even", "", "4.5"),
    "emergency-closing": Told("closes", "By two people, as the vehicle’s own instructions say", "11"),
    "module-seat": Told("dry"),
    "water-traces": Told("none"),
    "earlier-repairs": Told("none"),
    "wind-deflector": Told("sound"),
}
WORN: Mapping[str, Told] = {
    "linkage": Told("felt", "Main bearing on the right, without a noise", "0.8"),
    "water-traces": Told("dry", "A rust edge under the lining of the boot, right"),
    "earlier-repairs": Told("proper", "Two wires joined with crimps and sleeve behind the lining"),
}
"""What one of the cars showed."""


def write_inspections(certified: Sequence[Job], users: Mapping[str, User]) -> None:
    for number, job in enumerate(certified):
        sheet = BenchSheet.objects.select_related("revision").filter(job=job).order_by("-opened_at").first()
        if sheet is None or sheet.revision is None or sheet.closed_at is None:
            continue
        row = _opened(job, users["counter"])
        _tried_again(sheet, users["tech"])
        told = {**IN_ORDER, **(WORN if number == len(certified) - 1 else {})}
        _answered(row, sheet.closed_at, told, users)


def _opened(job: Job, by: User) -> Inspection:
    opened = job.opened_at + timedelta(minutes=5)
    row = Inspection.objects.create(job=job, opened_at=opened, opened_by=by)
    TrailEntry.objects.create(
        at=opened, by=by, car=job.car, job=job, kind="inspection.opened", words="Inspection by plan opened.",
        link=row.get_absolute_url(),
    )  # fmt: skip
    return row


def _tried_again(sheet: BenchSheet, by: User) -> None:
    """Two more trials of each motion, after the last one, before the sheet was closed."""
    assert sheet.revision is not None  # noqa: S101 - asked by the caller
    assert sheet.closed_at is not None  # noqa: S101 - asked by the caller
    system, checks = system_of(sheet.revision), sheet.checks.order_by("at", "pk")
    last = {check.observation["motion"]: check for check in checks.filter(kind="motion")}
    moments = _between(max(check.at for check in checks), sheet.closed_at, len(AGAIN) * len(last))
    made = []
    for ratio in AGAIN:
        for check in last.values():
            trial = observation_of(check.observation)
            assert isinstance(trial, MotionTrial)  # noqa: S101 - chosen by its kind
            seconds = {step: round(one * ratio, 1) for step, one in trial.seconds.items()}
            data = {**check.observation, "seconds": seconds}
            judgement = judge(system, observation_of(data))
            entry_id = uuid.uuid5(_SPACE, f"{check.entry_id}{ratio}")
            made.append(
                Check(
                    sheet=sheet, kind="motion", position="", observation=data, verdict=judgement.verdict,
                    words=judgement.words, entry_id=entry_id, by=by, at=next(moments),
                )
            )  # fmt: skip
    Check.objects.bulk_create(made)


def _between(first: datetime, last: datetime, count: int) -> Iterator[datetime]:
    return (first + (last - first) * at / (count + 1) for at in range(1, count + 1))


def _answered(row: Inspection, closed: datetime, told: Mapping[str, Told], users: Mapping[str, User]) -> None:
    """What a person judges, within the minutes before the sheet was closed; what is then still open was skipped."""
    open_ = [one.item for one in standing_of(row).open_items]
    moments = _between(closed - timedelta(minutes=4), closed, len(open_))
    InspectionAnswer.objects.bulk_create(
        _answer(row, item, told.get(item.key), moment, users) for item, moment in zip(open_, moments, strict=True)
    )


def _answer(
    row: Inspection, item: Item, told: Told | None, moment: datetime, users: Mapping[str, User]
) -> InspectionAnswer:
    by = users["tech" if told is not None or item.skip_by == "technician" else "owner"]
    said = told or Told(SKIP, "Not to be reached without stripping the car")
    return InspectionAnswer(
        inspection=row, key=item.key, grade=said.grade, words=said.words, at=moment, by=by,
        measured=Decimal(said.measured) if said.measured else None,
        entry_id=uuid.uuid5(_SPACE, f"{row.job_id}{item.key}"),
    )  # fmt: skip


def write_commissions(certified: Sequence[Job]) -> None:
    """The last certificate was commissioned by its buyer."""
    shop = ShopProfile.objects.get()
    now, job = timezone.now(), certified[-1]
    _commission(
        shop, now - timedelta(hours=3), name="Nell Ostrander", email="nell.ostrander@post.example",
        maker="Calderine", model="Solenne", year=2014, top=TopKind.HARD, place="Quayside Motors, Port Lorne",
        wanted="I have seen it once; the roof closed slowly and the lid sat a little high on the left.",
        seller_phone="01632 960402", seller_consent_by="the dealer",
    )  # fmt: skip
    _commission(
        shop, now - timedelta(days=6), name="Jonas Feddersen", email="jonas.feddersen@post.example",
        maker="Ilmarens", model="Veldt", year=1998, top=TopKind.SOFT, place="Upper Lorne",
        wanted="An old one with a top by hand. Is it worth its price?", state=CommissionState.DECLINED,
        ended_at=now - timedelta(days=5), declined_reason="This top has no drive and no control module: there is "
        "nothing in it that we could measure.",
    )  # fmt: skip
    _commission(
        shop, job.opened_at - timedelta(hours=20), name="Agnes Tolliver", email="agnes.tolliver@post.example",
        maker=job.car.maker, model=job.car.model, year=job.car.made_on.year, vin=job.car.vin, top=TopKind.UNKNOWN,
        place="Cedar Lane Garage", wanted="Before I buy it: the whole top, please.", state=CommissionState.DONE,
        job=job, appointment_on=job.opened_at.date(), ended_at=job.certificates.get().asked_at,
    )  # fmt: skip


def _commission(shop: ShopProfile, sent: datetime, **said: object) -> None:
    first = timezone.localdate(sent) + timedelta(days=1)
    fee = shop.inspection_fee
    assert fee is not None  # noqa: S101 - the demo's shop inspects for others
    Commission.objects.create(
        fee=fee, currency=shop.currency, terms=terms_shown(shop), accepted_at=sent, from_on=first,
        until_on=first + timedelta(days=9), **said,
    )  # fmt: skip
