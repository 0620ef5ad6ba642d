"""The proof plan of a sheet: what is still open on its car, and the shortest list of poses and hands that shows it."""

from diagnostics.engine.bench_list import BenchList, bench_list
from diagnostics.engine.case import observation_of
from diagnostics.engine.proof import states_seen, trigger_brings
from diagnostics.engine.proof_plan import proof_plan, rest_of
from diagnostics.engine.signals import judge
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import BenchSheet, Check, CheckKind, WorkKind
from diagnostics.selectors.evidence import Evidence, evidence_of_sheet
from diagnostics.selectors.proof import owed, waited_for


def bench_list_of_sheet(sheet: BenchSheet) -> BenchList | None:
    """What to work off to prove the top, from where it stands now; None where the car's system is not declared."""
    evidence = evidence_of_sheet(sheet)
    if evidence is None:
        return None
    system = evidence.system
    adjusted = {one.position for one in evidence.work if one.kind == WorkKind.ADJUST}
    seen = _seen(evidence, evidence.current)
    in_poses = _seen(evidence, tuple(one for one in evidence.current if one.kind != CheckKind.PIN_BY_HAND))
    for code in adjusted & seen.keys():
        seen[code] = in_poses[code] | waited_for(evidence, code) | (seen[code] - trigger_brings(system, code))
    here = rest_of(system, sheet.pose)
    plan = proof_plan(system, seen, here=here, not_by_hand=adjusted)
    return bench_list(
        system, plan, supply=supply_of(sheet, system), half_way=not here, owed=owed(evidence, but=system.wired())
    )


def supply_of(sheet: BenchSheet, system: TopSystem) -> float:
    """Volts that limits go by: what was last measured at the module, else what the system is made for."""
    return sheet.supply_mv / 1000 if sheet.supply_mv else system.supply_v


def _seen(evidence: Evidence, checks: tuple[Check, ...]) -> dict[str, set[str]]:
    system = evidence.system
    observations = [observation_of(check.observation) for check in checks]
    return states_seen(system, [(one, judge(system, one)) for one in observations])
