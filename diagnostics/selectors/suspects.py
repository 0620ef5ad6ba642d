"""The suspects of a sheet, computed once for the same evidence."""

import hashlib
import json

from django.core.cache import cache
from django.utils.translation import get_language

from diagnostics.engine.faults import default_prior, faults_of, repair_of
from diagnostics.engine.inference import diagnose
from diagnostics.engine.results import Diagnosis, Fault, Suspect
from diagnostics.models import BenchSheet
from diagnostics.selectors.evidence import Evidence, evidence_of_sheet

OPEN_SUSPECT = 0.05
"""A suspect above this probability keeps a job from being called done."""

NEW_PART_SHARE = 0.2
"""Prior of a fault just worked on, as a share of what it was: a new part or a fresh repair rarely fails at once, yet some
do. Common practice, no source."""

_DAY = 24 * 3600


def _priors(evidence: Evidence) -> dict[Fault, float]:
    """Priors of the faults that the job's work was meant to cure; the engine knows those of the others."""
    done = {(work.position, work.kind) for work in evidence.work}
    if not done:
        return {}
    repairs = ((fault, repair_of(evidence.system, fault)) for fault in faults_of(evidence.system))
    return {
        fault: default_prior(evidence.system, fault) * NEW_PART_SHARE
        for fault, repair in repairs
        if (repair.position, repair.kind) in done
    }


def diagnosis_of(evidence: Evidence, revision_sha256: str) -> Diagnosis:
    """Suspects, next checks and proof. Cached by what they follow from: revision, case, work done, language of the words."""
    priors = _priors(evidence)
    key_parts = [
        revision_sha256,
        evidence.case.model_dump_json(),
        json.dumps(sorted((f.position, f.mode, f.input, p) for f, p in priors.items())),
        get_language() or "",
    ]
    key = "diagnosis:" + hashlib.sha256("\n".join(key_parts).encode()).hexdigest()
    found: Diagnosis | None = cache.get(key)
    if found is None:
        found = diagnose(evidence.system, evidence.case, priors=priors or None)
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
