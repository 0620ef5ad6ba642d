"""Entries on a bench sheet: added, struck out, never changed.

An entry is its own record (who, when, what, how it was judged), so it writes no trail entry besides; striking one out
does.
"""

import uuid
from collections.abc import Mapping
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from pydantic import ValidationError

from diagnostics.engine.case import MOST_OBSERVATIONS, check_observation, observation_of
from diagnostics.engine.errors import CaseError
from diagnostics.engine.results import Judgement
from diagnostics.engine.signals import judge
from diagnostics.engine.standing import pose_after
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.sentences import words_of
from diagnostics.models import BenchSheet, Check, CheckKind
from diagnostics.selectors.systems import system_of
from diagnostics.services.free import FreeReading, judge_free
from diagnostics.services.sheets import locked, locked_job
from shop.errors import Conflict, ShopError
from shop.models import User
from shop.permissions import require
from shop.services import trail_record

_TAKES_SUPPLY = frozenset({CheckKind.PIN.value, CheckKind.PIN_BY_HAND.value})


@transaction.atomic
def check_add(*, sheet: BenchSheet, by: User, observation: Mapping[str, Any], entry_id: uuid.UUID) -> Check:
    """Keep one entry and judge it. `observation` as in a case file; what it leaves out (pose, supply, ignition) the
    sheet fills in. After a motion trial the sheet's pose is where the top stopped.

    The same `entry_id` again gives the check that stands: an entry sent twice is kept once, also on a sheet closed
    since. An entry that is no evidence (ignition off, reading above supply) is kept with verdict `refused` and its
    reason. ShopError for one that cannot be (unknown position, pose or step, no number); Conflict on a closed sheet.
    """
    require(by, "bench.write")
    there = _there(sheet, entry_id)
    if there is not None:
        return there
    sheet = locked(sheet)
    _say_again(sheet)
    if Check.objects.filter(sheet__job_id=sheet.job_id).count() >= MOST_OBSERVATIONS:
        words = _("Job {number} has {count} entries and takes no more. Open a new job on the car.")
        raise Conflict(words.format(number=sheet.job.number, count=MOST_OBSERVATIONS))
    kind, position, data, judgement = judged(sheet, observation)
    if sheet.revision is not None:
        _pose_follows(sheet, system_of(sheet.revision), data)
    try:
        with transaction.atomic():
            return Check.objects.create(
                sheet=sheet,
                kind=kind,
                position=position,
                observation=data,
                verdict=judgement.verdict,
                words=judgement.words,
                entry_id=entry_id,
                by=by,
                at=timezone.now(),
            )
    except IntegrityError:
        # The first delivery of this entry was committed between the look and the write.
        there = _there(sheet, entry_id)
        if there is None:
            raise
        return there


def _say_again(sheet: BenchSheet) -> None:
    """What the sheet says of units has changed; the sheet is locked."""
    if sheet.sighted:
        sheet.sighted = False
        sheet.save(update_fields=["sighted"])


def _pose_follows(sheet: BenchSheet, system: TopSystem, data: Mapping[str, Any]) -> None:
    """After a trial the car stands where the motion stopped, so the next readings are taken there."""
    if data["check"] != CheckKind.MOTION:
        return
    sheet.pose = pose_after(system, data["motion"], data["stops_at"], data["stands"], base=sheet.pose)
    sheet.save(update_fields=["pose"])


def _there(sheet: BenchSheet, entry_id: uuid.UUID) -> Check | None:
    return Check.objects.filter(sheet_id=sheet.pk, entry_id=entry_id).first()


def judged(sheet: BenchSheet, observation: Mapping[str, Any]) -> tuple[str, str, dict[str, Any], Judgement]:
    """What an entry comes to on a sheet before it is kept: kind, position, its data as they are kept, and what it says.
    Without a declared system a free reading. ShopError for one that cannot be."""
    if sheet.revision is None:
        return _free(sheet, observation)
    return _declared(sheet, system_of(sheet.revision), observation)


def _declared(
    sheet: BenchSheet, system: TopSystem, observation: Mapping[str, Any]
) -> tuple[str, str, dict[str, Any], Judgement]:
    filled = _filled(sheet, observation)
    filled.pop("after_work", None)  # whether work stands before an entry follows from the moments of both
    try:
        parsed = observation_of(filled)
        check_observation(system, parsed, _("This entry"))
    except ValidationError as error:
        raise ShopError(_first_mistake(error)) from error
    except CaseError as error:
        raise ShopError(str(error)) from error
    return parsed.check, getattr(parsed, "position", ""), parsed.model_dump(mode="json"), judge(system, parsed)


def _free(sheet: BenchSheet, observation: Mapping[str, Any]) -> tuple[str, str, dict[str, Any], Judgement]:
    try:
        reading = FreeReading.model_validate({**_filled(sheet, observation), "pose": observation.get("pose", "")})
    except ValidationError as error:
        raise ShopError(_first_mistake(error)) from error
    return CheckKind.PIN.value, reading.label, reading.model_dump(mode="json"), judge_free(reading)


def _filled(sheet: BenchSheet, observation: Mapping[str, Any]) -> dict[str, Any]:
    data = dict(observation)
    if data.get("check") == CheckKind.PIN:
        data.setdefault("pose", sheet.pose)
    if data.get("check") in _TAKES_SUPPLY:
        if data.get("supply_volts") is None and sheet.supply_mv is not None:
            data["supply_volts"] = sheet.supply_mv / 1000
        data.setdefault("ignition", sheet.ignition_on)
    return data


def _expected() -> dict[str, str]:
    return {
        "volts": _("volts, a number such as 11.9"),
        "pressed_volts": _("volts, a number such as 0.2"),
        "released_volts": _("volts, a number such as 12.1"),
        "supply_volts": _("volts, a number such as 12.6"),
        "ohms": _("ohms, zero or more, or “open”"),
        "bar_start": _("bar, more than 0 and at most 400, such as 120"),
        "bar_end": _("bar, 0 to 400, such as 115"),
        "seconds": _("seconds, more than 0 and at most 3600, such as 60"),
        "oil_c": _("°C, −40 to 120, such as 20"),
    }


def _first_mistake(error: ValidationError) -> str:
    first = error.errors()[0]
    path = tuple(str(part) for part in first["loc"])
    field = path[-1] if path else ""
    given, expected = first.get("input"), _expected().get(field)
    if expected is not None and not isinstance(given, dict):
        words = _("“{given}” cannot be; expected {expected}.")
        return words.format(given="" if given is None else given, expected=expected)
    return f"{field or _('The entry')}: {words_of(first, path)}"


@transaction.atomic
def check_strike(*, check: Check, by: User, why: str) -> Check:
    """Strike an entry out: it stays, marked with who and why, and counts for nothing. Conflict when it is struck
    already."""
    require(by, "bench.write")
    why = why.strip()
    if not why:
        raise ShopError(_("Say why the entry is struck out; it stays readable with your reason."))
    job = locked_job(check.sheet.job_id)
    if not job.is_open:
        raise Conflict(_("Job {number} is finished; its entries stay as they are.").format(number=job.number))
    # One conditional update: of two people striking the same entry one is first, and the other is told.
    struck = Check.objects.filter(pk=check.pk, struck_at__isnull=True).update(
        struck_at=timezone.now(), struck_by=by, struck_why=why[:200]
    )
    check.refresh_from_db()
    # Without a look at what stands there: somebody may be making the sightings of the entry as it was.
    BenchSheet.objects.filter(pk=check.sheet_id).update(sighted=False)
    if struck != 1:
        raise Conflict(
            _("{who} has struck this entry out already: {why}").format(who=check.struck_by, why=check.struck_why)
        )
    trail_record(
        by=by,
        job=job,
        kind="check.struck",
        words=_("Struck out “{words}”: {why}").format(words=check.words, why=check.struck_why),
        link=check.sheet.get_absolute_url(),
    )
    return check
