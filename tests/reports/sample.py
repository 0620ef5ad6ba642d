"""A car, its evidence and its certificate, made with the real engine and a shipped top system; no database."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from diagnostics.engine.case import Observation
from diagnostics.engine.motion import pin_state, pose_of
from diagnostics.engine.proof import proof_of
from diagnostics.engine.signals import judge
from diagnostics.engine.system.load import load_system
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import pin_of
from reports.document.compose import Evidence, Seen, Worked, decision_rule_words, overall, results_of
from reports.document.content import Certificate, Instrument, Issuer, Item, Person, Results

START = datetime(2026, 11, 20, 9, 0, tzinfo=UTC)
_OBSERVATION: TypeAdapter[Observation] = TypeAdapter(Observation)
SYSTEMS = Path(__file__).parents[2] / "fixtures" / "systems"


@cache
def system(slug: str = "rht-trio") -> TopSystem:
    path = SYSTEMS / f"{slug}.yaml"
    return load_system(path.read_text(), path.name)


def seen(top: TopSystem, minute: int, by: str = "Ines Okafor", **observation: Any) -> Seen:
    parsed = _OBSERVATION.validate_python(observation)
    return Seen(parsed, judge(top, parsed), START + timedelta(minutes=minute), by)


def pin(top: TopSystem, minute: int, code: str, pose: str, share: float | None = None, **more: Any) -> Seen:
    """A reading at a pin: what the pose should give, or `share` of a supply of 12.40 V."""
    if share is None:
        share = _share(top, code, pin_state(top, code, pose_of(top, pose)))
    volts = round(share * 12.4, 2)
    return seen(top, minute, check="pin", position=code, pose=pose, volts=volts, supply_volts=12.4, **more)


def _share(top: TopSystem, code: str, state: str) -> float:
    """What a sound sensor leaves at its pin in that state, as a share of the supply."""
    sensor = pin_of(top, code)
    if sensor.bands:
        return sum(sensor.bands[state]) / 2
    return 0.004 if (state == "made") == (sensor.made_reads == "low") else 0.985


def by_hand(top: TopSystem, minute: int, code: str, pressed: float | None = None, **more: Any) -> Seen:
    made, released = (round(12.4 * _share(top, code, state), 2) for state in ("made", "released"))
    both = {"pressed_volts": made if pressed is None else pressed, "released_volts": released}
    return seen(top, minute, check="pin-by-hand", position=code, supply_volts=12.4, **both, **more)


def trial(top: TopSystem, minute: int, motion: str, stops_at: str | None = None, slow: float = 1.0) -> Seen:
    """A whole motion with times in the middle of the usual range, the last step `slow` times as long."""
    steps = top.motions[motion].steps  # type: ignore[index]
    names = [step.name for step in steps]
    done = steps[: names.index(stops_at)] if stops_at else steps
    seconds = {step.name: round(sum(step.seconds) / 2, 1) for step in done}
    if done:
        seconds[done[-1].name] = round(seconds[done[-1].name] * slow, 1)
    lamp = next((step.lamp for step in steps if step.name == stops_at), None)
    return seen(top, minute, check="motion", motion=motion, stops_at=stops_at, lamp=lamp, seconds=seconds)


def sound_checks(top: TopSystem, start: int = 0) -> list[Seen]:
    """Everything that a sheet can show of a sound top: all sensors both ways, both motions with times, the battery."""
    checks = [pin(top, start, code, pose) for pose in top.poses for code in top.sensors() if code[:2] != "SF"]
    checks += [by_hand(top, start + 1, code) for code, one in top.wired().items() if one.kind != "angle-sensor"]
    checks += [trial(top, start + 2, motion) for motion in ("open", "close")]
    return [*checks, seen(top, start + 3, check="battery", volts=12.6)]


def evidence_of(checks: Sequence[Seen], work: Sequence[Worked] = (), top: TopSystem | None = None) -> Evidence:
    return Evidence(top or system(), tuple(sorted(checks, key=lambda one: one.at)), tuple(work))


def results(evidence: Evidence, **more: Any) -> Results:
    """Results with the proof that the engine finds in what was seen after the last work on each path."""
    last = {work.position: work.at for work in evidence.work}
    fresh = [one.observation for one in evidence.seen if one.at > last.get(one.position, one.at - timedelta(1))]
    return results_of(evidence, proof=proof_of(evidence.system, fresh), **more)


def certificate(found: Results, top: TopSystem | None = None, **more: Any) -> Certificate:
    top = top or system()
    content = Certificate(
        number="TW-2026-7K3M9QXZ-4",
        issued_at=datetime(2026, 11, 20, 16, 30, tzinfo=UTC),
        issuer=Issuer("Verdeckwerk Halden", "Gerberstraße 14\n40999 Halden", "0000 123456", "post@verdeckwerk.example"),
        client="Łucja Őszi-Šimková",
        job="J00012: Top inspection before purchase",
        item=Item(
            vin="0TWAB1CD2E3456789",
            maker="Arvel",
            model="Corso T",
            made_on=date(2011, 4, 1),
            system=top.system,
            system_title=top.title,
            system_revision=top.revision,
            odometer_km=118_420,
            odometer_on=date(2026, 11, 20),
        ),
        inspected_on=(date(2026, 11, 20),),
        place="Verdeckwerk Halden, Gerberstraße 14, 40999 Halden",
        ambient="",
        purpose="Inspection of the convertible top and the trace of the complaint.",
        method="Readings at the control module, motion trials, looks.",
        instruments=(Instrument("Digital multimeter of the shop"),),
        results=found,
        overall=overall(found, motions=len(top.motions)),
        decision_rule=decision_rule_words(),
        cautions=("Keep hands, hair and helpers clear of hinges, latches and gaps while the top moves.",),
        statements=(
            "The results hold for this car only, as it was on the days of inspection.",
            "This certificate may be copied only as a whole.",
            "It is no roadworthiness certificate. Local rules and licensed inspection prevail.",
        ),
        client_information=("Complaint: closing stops after the lid is up.",),
        outlook="No outlook is given: no failure model has been learned yet.",
        inspectors=(Person("Ines Okafor", "Technician"),),
        approved_by=Person("Marta Weiß", "Owner"),
    )
    return replace(content, **more)


def repaired() -> Evidence:
    """BG8 never makes when stacked, is replaced, and everything is checked after; one reading by hand stays weak."""
    top = system()
    checks = [
        trial(top, 0, "close", stops_at="raise-stack"),
        pin(top, 5, "BG8", "open", 0.985),
        pin(top, 6, "BG10", "open"),
        seen(top, 8, check="look", position="MM3", found="leaks"),
        *sound_checks(top, start=60),
        by_hand(top, 70, "BG5", pressed=1.16),
    ]
    work = Worked(
        "BG8",
        "Replaced",
        "Contact burnt",
        START + timedelta(minutes=30),
        "Ines Okafor",
        "TW-BGD-3302",
        "TW-BGD-3302, revision B",
    )
    return evidence_of(checks, [work])
