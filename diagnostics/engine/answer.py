"""A diagnosis as the answer of `diagnose --json`."""

from dataclasses import asdict
from typing import Any

from diagnostics.engine.results import Diagnosis, Fault, NextCheck, Reason, Surprise, Suspect, Ways


def as_json(diagnosis: Diagnosis) -> dict[str, Any]:
    """Plain values only. A fault of one input of the module names the sensor as a third element (`input` in
    suspects). Observations are named by their index, the complaint by -1. `unweighed` only where something was left
    out."""
    answer: dict[str, Any] = {
        "suspects": [_suspect(suspect) for suspect in diagnosis.suspects],
        "hypotheses": [
            {"faults": [_fault(f) for f in h.faults], "probability": h.probability, "minimal": h.minimal}
            for h in diagnosis.hypotheses
        ],
        "nothing_wrong": diagnosis.nothing_wrong,
        "next_checks": [_check(check) for check in diagnosis.next_checks],
        "ways": _ways(diagnosis.ways),
        "proof": {code: {"made": state.made, "released": state.released} for code, state in diagnosis.proof.items()},
        "conflicts": [
            {"entries": list(conflict.entries), "repeat": conflict.repeat, "words": conflict.words}
            for conflict in diagnosis.conflicts
        ],
        "surprise": _surprise(diagnosis.surprise),
        "warnings": list(diagnosis.all_warnings),
    }
    if diagnosis.unweighed:
        answer["unweighed"] = diagnosis.unweighed
    return answer


def _fault(fault: Fault) -> list[str]:
    return [fault.position, fault.mode, *([fault.input] if fault.input else [])]


def _surprise(surprise: Surprise | None) -> dict[str, Any] | None:
    if surprise is None:
        return None
    return {"entry": surprise.entry, "probability": surprise.probability, "words": surprise.words}


def _ways(ways: Ways) -> dict[str, Any]:
    return {
        "repair_first": [asdict(step) for step in ways.repair_first],
        "repair_first_minutes": ways.repair_first_minutes,
        "check_first_minutes": ways.check_first_minutes,
        "words": ways.words,
    }


def _suspect(suspect: Suspect) -> dict[str, Any]:
    answer: dict[str, Any] = {
        "position": suspect.fault.position,
        "mode": suspect.fault.mode,
        "probability": suspect.probability,
        "for": [_reason(reason) for reason in suspect.reasons_for],
        "against": [_reason(reason) for reason in suspect.reasons_against],
    }
    if suspect.fault.input:
        answer["input"] = suspect.fault.input
    return answer


def _reason(reason: Reason) -> dict[str, Any]:
    return {"observation": reason.observation, "llr": reason.llr, "words": reason.words}


def _check(check: NextCheck) -> dict[str, Any]:
    answer: dict[str, Any] = {"check": check.check, "position": check.position}
    if check.pose is not None:
        answer["pose"] = check.pose
    if check.motion is not None:
        answer["motion"] = check.motion
    return answer | {
        "minutes": check.minutes,
        "bits": check.bits,
        "bits_per_minute": check.bits_per_minute,
        "ahead_bits": check.ahead_bits,
        "ahead_minutes": check.ahead_minutes,
        "why": check.why,
        "caution": check.caution,
    }
