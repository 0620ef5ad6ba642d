"""From evidence to results: pure functions over the engine's values."""

from collections.abc import Mapping, Sequence

from diagnostics.engine.results import ProofState, Suspect
from reports.document.compose import results as _results
from reports.document.compose.ahead import CURVE, ahead_of, ahead_words, expected_words
from reports.document.compose.findings import findings, quantity
from reports.document.compose.instruments import Calibrated, Used, meter_of, named, remarks, untraced
from reports.document.compose.overall import decision_rule_words, overall
from reports.document.compose.pictured import pictured
from reports.document.compose.seen import Evidence, Seen, Worked
from reports.document.compose.undeclared import undeclared_results
from reports.document.compose.untested import not_tested
from reports.document.content import Results

__all__ = [
    "CURVE",
    "Calibrated",
    "Evidence",
    "Seen",
    "Used",
    "Worked",
    "ahead_of",
    "ahead_words",
    "decision_rule_words",
    "expected_words",
    "meter_of",
    "named",
    "overall",
    "quantity",
    "remarks",
    "results_of",
    "undeclared_results",
    "untraced",
]


def results_of(
    evidence: Evidence,
    *,
    proof: Mapping[str, ProofState],
    suspects: Sequence[Suspect] = (),
    unproven: Mapping[str, str] | None = None,
    struck_out: int = 0,
    planned: bool = False,
) -> Results:
    """Everything that the results of a certificate list, from `evidence` in order of time.

    `proof` sensor -> what was seen after the last work on its path; `suspects` those still open; `unproven` position
    -> what still has to be seen there after work; `planned`: an inspection plan is put over it (`with_plan`).
    """
    unproven = unproven or {}
    proven = frozenset(code for code, state in proof.items() if state.proven and code not in unproven)
    limits, trials = _results.limits(evidence), _results.trials(evidence)
    current = {motion: _results.motion_trial(evidence, one) for motion, one in evidence.last_trials().items()}
    return Results(
        proof=_results.proof_rows(evidence, proof),
        readings=_results.readings(evidence),
        limits=limits,
        trials=trials,
        observed=_results.observed(evidence),
        findings=findings(evidence, proven, suspects, unproven, limits, [*current.values()]),
        work=_results.work_done(evidence, proven),
        not_tested=not_tested(evidence, proof, planned),
        struck_out=struck_out,
        holds=_results.holds(evidence),
        pictured=pictured(evidence.system, trials, current),
    )
