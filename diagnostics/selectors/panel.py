"""What the bench says on a job's page: open suspects, proof, work done, and what work there can be."""

from dataclasses import dataclass

from diagnostics.engine.faults import repair_of
from diagnostics.engine.outlook import Outlook
from diagnostics.engine.results import Suspect
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, Enquiry, Work, WorkKind
from diagnostics.selectors.enquiries import enquiry_of_job, outlook_of
from diagnostics.selectors.evidence import evidence_of_sheet
from diagnostics.selectors.history import sheet_of_job, work_of_job
from diagnostics.selectors.proof import RepairedPath, motions_owed, repaired_paths
from diagnostics.selectors.suspects import diagnosis_of, open_suspects
from diagnostics.selectors.systems import system_for_job, system_of
from diagnostics.selectors.what_was_wrong import LIKELY_ENOUGH, Wrong, wrong_at
from shop.models import Job


@dataclass(frozen=True, slots=True)
class JobPanel:
    """`enquiry`, `outlook`: what was told before the car came, and what was thought of it. `proven`, `sensors`: counts.
    `likely`: (position, kind of work) that would cure the first suspect, to fill the form with."""

    sheet: BenchSheet | None
    system: TopSystem | None
    suspects: tuple[Suspect, ...]
    proven: int
    sensors: int
    paths: tuple[RepairedPath, ...]
    owed: tuple[str, ...]
    work: tuple[Work, ...]
    likely: tuple[str, str]
    enquiry: Enquiry | None
    outlook: Outlook | None

    @property
    def kinds(self) -> list[tuple[str, str]]:
        return [(value, str(label)) for value, label in WorkKind.choices]

    @property
    def wrong(self) -> Wrong | None:
        """What can have been wrong where the form begins; of any other place too, for who has no JavaScript."""
        if self.system is None:
            return None
        position, kind = self.likely if self.likely[0] else (next(iter(self.system.positions)), WorkKind.REPLACE.value)
        first = self.suspects[0] if self.suspects else None
        says = first.fault.mode if first is not None and first.probability >= LIKELY_ENOUGH else ""
        return wrong_at(self.system, position, kind, says, others=True)


def job_panel(job: Job) -> JobPanel:
    """About nine queries."""
    sheet = sheet_of_job(job)
    evidence = evidence_of_sheet(sheet) if sheet else None
    work = tuple(work_of_job(job))
    enquiry = enquiry_of_job(job)
    outlook = outlook_of(enquiry, job.car) if enquiry else None
    if sheet is None or sheet.revision is None or evidence is None:
        declared = system_for_job(job)
        system = system_of(declared) if declared else None
        return JobPanel(sheet, system, (), 0, 0, (), (), work, ("", ""), enquiry, outlook)
    suspects = () if evidence.is_empty else open_suspects(diagnosis_of(evidence, sheet.revision.sha256))
    proof = evidence.proof()
    likely = ("", "")
    if suspects:
        repair = repair_of(evidence.system, suspects[0].fault)
        likely = (repair.position, repair.kind)
    return JobPanel(
        sheet=sheet,
        system=evidence.system,
        suspects=suspects,
        proven=sum(state.proven for state in proof.values()),
        sensors=len(proof),
        paths=repaired_paths(evidence),
        owed=motions_owed(evidence),
        work=work,
        likely=likely,
        enquiry=enquiry,
        outlook=outlook,
    )
