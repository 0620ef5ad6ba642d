"""The reads of the bench: systems, evidence, suspects, proof, units. Parts and reports ask here and nowhere else."""

from diagnostics.selectors.bench_list import bench_list_of_sheet, supply_of
from diagnostics.selectors.evidence import Evidence, case_of_sheet, evidence_of_sheet
from diagnostics.selectors.history import checks_of_job, sheet_of_job, units_of_car, work_of_job
from diagnostics.selectors.proof import (
    RepairedPath,
    proof_of_job,
    reasons_not_done,
    repaired_paths,
    repaired_paths_of_job,
)
from diagnostics.selectors.suspects import OPEN_SUSPECT, diagnosis_of, diagnosis_of_sheet, open_suspects
from diagnostics.selectors.systems import newest_revisions, revision_asked, system_for_car, system_of

__all__ = [
    "OPEN_SUSPECT",
    "Evidence",
    "RepairedPath",
    "bench_list_of_sheet",
    "case_of_sheet",
    "checks_of_job",
    "diagnosis_of",
    "diagnosis_of_sheet",
    "evidence_of_sheet",
    "newest_revisions",
    "open_suspects",
    "proof_of_job",
    "reasons_not_done",
    "repaired_paths",
    "repaired_paths_of_job",
    "revision_asked",
    "sheet_of_job",
    "supply_of",
    "system_for_car",
    "system_of",
    "units_of_car",
    "work_of_job",
]
