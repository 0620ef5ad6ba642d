"""What the newest entry of a sheet moved, or the newest one that was struck out."""

from dataclasses import dataclass
from datetime import datetime

from diagnostics.engine.changes import Change, change_of, standing_of
from diagnostics.engine.results import Diagnosis
from diagnostics.models import Check
from diagnostics.selectors.evidence import Evidence, Rows, evidence_of_rows
from diagnostics.selectors.suspects import standing_by
from shop.models import User


@dataclass(frozen=True, slots=True)
class Changed:
    """`token`: another one for every change, so that nothing is announced twice. `by`, `at`: who made the entry or
    took it back, and when."""

    change: Change
    check: Check
    undone: bool
    by: User
    at: datetime

    @property
    def token(self) -> str:
        return f"{self.check.pk}-{'struck' if self.undone else 'made'}"


def last_change(rows: Rows, evidence: Evidence, diagnosis: Diagnosis, revision_sha256: str) -> Changed | None:
    """None on a sheet without entries. `evidence`, `diagnosis`: of `rows` as they stand. No query."""
    own = [check for check in rows.checks if check.sheet_id == rows.sheet.pk]
    if not own:
        return None
    check = max(own, key=lambda one: (one.struck_at or one.at, one.pk))
    undone = check.struck_at is not None
    change = change_of(
        evidence.system,
        standing_by(evidence_of_rows(rows, otherwise=check.pk), revision_sha256),
        standing_of(diagnosis),
        entry=_words(check, evidence, diagnosis),
        counts=check.verdict != "refused",
        undone=undone,
    )
    by = check.struck_by if undone and check.struck_by else check.by
    return Changed(change, check, undone, by, check.struck_at or check.at)


def _words(check: Check, evidence: Evidence, diagnosis: Diagnosis) -> str:
    """The entry as it is judged for who reads it now; as it was written down where it is not judged any more."""
    judged = zip(evidence.checks, diagnosis.judgements, strict=True)
    return next((judgement.words for one, judgement in judged if one.pk == check.pk), check.words)
