"""The suspects of a sheet, computed once for the same evidence."""

import hashlib

from django.core.cache import cache
from django.utils.translation import get_language

from diagnostics.engine.changes import Standing, standing_of, standing_of_belief
from diagnostics.engine.inference import believe, diagnose
from diagnostics.engine.results import Diagnosis, Suspect
from diagnostics.engine.words import spoken
from diagnostics.models import BenchSheet
from diagnostics.selectors.evidence import Evidence, evidence_of_sheet

OPEN_SUSPECT = 0.05
"""A suspect above this probability keeps a job from being called done."""

_DAY = 24 * 3600


def diagnosis_of(evidence: Evidence, revision_sha256: str) -> Diagnosis:
    """Suspects, next checks and warnings. Cached by what they follow from: revision, case, times of the shop's own
    cars, what its checks say of this car's faults beforehand, language of the words.

    For the proof ask `evidence.proof()`: the engine does not know of work that nothing was checked after.
    """
    key = _key("diagnosis", evidence, revision_sha256, _language())
    found: Diagnosis | None = cache.get(key)
    if found is None:
        found = diagnose(evidence.system, evidence.case, priors=evidence.priors.chances, step_times=evidence.step_times)
        cache.set(key, found, _DAY)
    return found


def standing_by(evidence: Evidence, revision_sha256: str) -> Standing:
    """What is believed by other evidence than the sheet's own, such as without its last entry: mostly the diagnosis
    that was shown a moment ago, else the posterior alone."""
    shown: Diagnosis | None = cache.get(_key("diagnosis", evidence, revision_sha256, _language()))
    if shown is not None:
        return standing_of(shown)
    key = _key("standing", evidence, revision_sha256)
    found: Standing | None = cache.get(key)
    if found is None:
        found = standing_of_belief(
            believe(evidence.system, evidence.case, priors=evidence.priors.chances, step_times=evidence.step_times)
        )
        cache.set(key, found, _DAY)
    return found


def _language() -> str:
    """What a diagnosis is kept under beside its evidence: its words are a paper's, or else the screen's."""
    return spoken() or get_language() or ""


def _key(kind: str, evidence: Evidence, *parts: str) -> str:
    told = "\n".join([*parts, evidence.case.model_dump_json(), repr(sorted(evidence.step_times.items()))])
    told += evidence.priors.digest()
    return f"{kind}:{hashlib.sha256(told.encode()).hexdigest()}"


def diagnosis_of_sheet(sheet: BenchSheet) -> Diagnosis | None:
    """None where the car's system is not declared."""
    evidence = evidence_of_sheet(sheet)
    if evidence is None or sheet.revision is None:
        return None
    return diagnosis_of(evidence, sheet.revision.sha256)


def open_suspects(diagnosis: Diagnosis) -> tuple[Suspect, ...]:
    """Suspects that must be settled before the job is done, likeliest first."""
    return tuple(suspect for suspect in diagnosis.suspects if suspect.probability > OPEN_SUSPECT)
