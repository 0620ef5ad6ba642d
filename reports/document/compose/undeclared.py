"""Results for a car whose top system nobody has declared: what was read and done, and that nothing can be stated."""

from collections.abc import Mapping, Sequence

from diagnostics.engine.words import _
from reports.document.compose.findings import unproven_finding
from reports.document.compose.seen import Worked
from reports.document.content import NotTested, Observed, Results, WorkDone


def undeclared_results(
    observed: Sequence[Observed], work: Sequence[Worked], unproven: Mapping[str, str], struck_out: int
) -> Results:
    """`observed`: the free readings, in order of time; `unproven`: position -> what still has to be seen after work."""
    rows = [
        WorkDone(one.position, "", one.kind_words, one.words, one.at, one.by, one.old_part, one.new_part)
        for one in work
    ]
    why = _("The top system of this car is not declared, so there is nothing to judge it by.")
    return Results(
        observed=tuple(observed),
        findings=tuple(unproven_finding(position, position, missing) for position, missing in unproven.items()),
        work=tuple(rows),
        not_tested=(NotTested("whole", _("The top as a whole"), why),),
        struck_out=struck_out,
    )
