"""The suspects of a sheet, computed once for the same evidence."""

import hashlib

from django.core.cache import cache
from django.utils.translation import get_language

from diagnostics.engine.inference import diagnose
from diagnostics.engine.results import Diagnosis, Suspect
from diagnostics.models import BenchSheet
from diagnostics.selectors.evidence import Evidence, evidence_of_sheet

OPEN_SUSPECT = 0.05
"""A suspect above this probability keeps a job from being called done."""

_DAY = 24 * 3600


def diagnosis_of(evidence: Evidence, revision_sha256: str) -> Diagnosis:
    """Suspects, next checks and warnings. Cached by what they follow from: revision, case, language of the words.

    For the proof ask `evidence.proof()`: the engine does not know of work that nothing was checked after.
    """
    key_parts = [revision_sha256, evidence.case.model_dump_json(), get_language() or ""]
    key = "diagnosis:" + hashlib.sha256("\n".join(key_parts).encode()).hexdigest()
    found: Diagnosis | None = cache.get(key)
    if found is None:
        found = diagnose(evidence.system, evidence.case)
        cache.set(key, found, _DAY)
    return found


def diagnosis_of_sheet(sheet: BenchSheet) -> Diagnosis | None:
    """None where the car's system is not declared."""
    evidence = evidence_of_sheet(sheet)
    if evidence is None or sheet.revision is None:
        return None
    return diagnosis_of(evidence, sheet.revision.sha256)


def open_suspects(diagnosis: Diagnosis) -> tuple[Suspect, ...]:
    """Suspects that must be settled before the job is done, likeliest first."""
    return tuple(suspect for suspect in diagnosis.suspects if suspect.probability > OPEN_SUSPECT)
