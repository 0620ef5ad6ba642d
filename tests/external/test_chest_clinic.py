"""The weighing on a network that has nothing to do with tops: the chest clinic of Lauritzen and Spiegelhalter,
J. R. Statist. Soc. B 50 (1988) 157-224 ("Asia").

The three conditions tuberculosis, lung cancer and bronchitis are the faults; all eight sets of them are hypotheses.
Lung cancer and bronchitis share a cause and are one site, whose table carries what smoking makes of them together.
Visit, smoking and their sums are tables of a site; X-ray and breathlessness hang on "either", which is over two sites,
and go by classes as motions do. The numbers of the network are those of the paper, the answers those of pgmpy's
variable elimination on the same network (computed once for the project's reference sheet, six decimals).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from diagnostics.engine.alike import Look, Part, alike
from diagnostics.engine.compiled import Compiled, Site
from diagnostics.engine.evidence import SiteFactor
from diagnostics.engine.hypotheses import fault_sets, marginals
from diagnostics.engine.results import Fault
from diagnostics.engine.weighing import prior_of, weigh_evidence

ASIA, SMOKE = 0.01, 0.5
TUB = {True: 0.05, False: 0.01}  # given a visit to Asia
LUNG = {True: 0.1, False: 0.01}  # given smoking
BRONC = {True: 0.6, False: 0.3}
XRAY = {True: 0.98, False: 0.05}  # given either
DYSP = {(True, True): 0.9, (True, False): 0.7, (False, True): 0.8, (False, False): 0.1}  # given either, bronchitis
P_TUB = ASIA * TUB[True] + (1 - ASIA) * TUB[False]
P_LUNG = SMOKE * LUNG[True] + (1 - SMOKE) * LUNG[False]
P_BRONC = SMOKE * BRONC[True] + (1 - SMOKE) * BRONC[False]

ANSWERS = {
    # evidence: asia, smoke, tub, lung, bronc, either, xray, dysp (None where it is evidence or was not tabled)
    "": (0.01, 0.5, 0.0104, 0.055, 0.45, 0.064828, 0.110290, 0.435971),
    "dysp": (0.010325, 0.633997, 0.018845, 0.102759, 0.833967, 0.120536, 0.162098, None),
    "asia dysp": (None, 0.625920, 0.087751, 0.099525, 0.811402, 0.182300, 0.219539, None),
    "asia dysp xray": (None, 0.702025, 0.391712, 0.444271, 0.628822, 0.813769, None, None),
    "asia dysp -smoke": (None, None, 0.112835, 0.022567, 0.717942, 0.134274, 0.174874, None),
    "asia dysp -xray": (None, 0.604512, 0.002249, 0.002550, 0.862761, 0.004672, None, None),
    "xray": (0.013156, 0.687754, 0.092411, 0.488711, 0.506326, 0.576040, None, 0.640766),
}
NODES = ("asia", "smoke", "tub", "lung", "bronc", "either", "xray", "dysp")


def clinic() -> Compiled:
    faults = tuple(Fault(name, "there") for name in ("tub", "lung", "bronc"))
    own = (frozenset[str](), frozenset({"tub"}))
    both = tuple(frozenset(one) for one in ((), ("lung",), ("bronc",), ("lung", "bronc")))
    sites = {"T": Site("T", (0,), own), "L": Site("L", (1, 2), both)}
    nothing: Any = None  # there is no top behind it
    return Compiled(nothing, faults, fault_sets(3, 3), sites, 3)


MODEL = clinic()


def chance(yes: bool, p: float) -> float:
    return p if yes else 1 - p


def together(lung: bool, bronc: bool, smoke: bool) -> float:
    return chance(smoke, SMOKE) * chance(lung, LUNG[smoke]) * chance(bronc, BRONC[smoke])


def at_lungs(name: str, of: Any) -> SiteFactor:
    """What smoking says of lung cancer and bronchitis together, beyond their own prior chances."""
    pairs = [("lung" in modes, "bronc" in modes) for modes in MODEL.sites["L"].sets]
    table = np.array([of(lung, bronc) / (chance(lung, P_LUNG) * chance(bronc, P_BRONC)) for lung, bronc in pairs])
    return SiteFactor(0, False, name, "L", table, ())


@dataclass(frozen=True)
class Sign:
    """Evidence that hangs on "either": over two sites, by classes."""

    key: str
    says: Any

    def parts(self, model: Compiled) -> tuple[Part, ...]:
        without = [("T", np.array([1.0, 0.0])), ("L", np.array([1.0, 0.0, 1.0, 0.0]))]
        which = alike(model, [Look(without), Look([("L", np.array([1.0, 1.0, 0.5, 0.5]))])])
        sets = [set(row[row < 3].tolist()) for row in model.sets.members[which.places]]
        return (Part(which, self.key, np.array([self.says(bool(one & {0, 1}), 2 in one) for one in sets])),)


def evidence_of(given: dict[str, bool]) -> list[Any]:
    smokes = [given["smoke"]] if "smoke" in given else [True, False]
    found: list[Any] = [at_lungs("smoke", lambda lung, bronc: sum(together(lung, bronc, s) for s in smokes))]
    if "asia" in given:
        tub = [chance(there, TUB[given["asia"]]) for there in (False, True)]
        table = chance(given["asia"], ASIA) * np.array(tub) / np.array([1 - P_TUB, P_TUB])
        found.append(SiteFactor(0, False, "asia", "T", table, ()))
    if "xray" in given:
        found.append(Sign("xray", lambda either, _bronc: chance(given["xray"], XRAY[either])))
    if "dysp" in given:
        found.append(Sign("dysp", lambda either, bronc: chance(given["dysp"], DYSP[either, bronc])))
    if "either" in given:
        found.append(Sign("either", lambda either, _bronc: 1.0 if either == given["either"] else 1e-300))
    return found


def weighed(given: dict[str, bool]) -> tuple[np.ndarray, float]:
    return weigh_evidence(MODEL, prior_of(MODEL, np.array([P_TUB, P_LUNG, P_BRONC])), evidence_of(given))


@pytest.mark.parametrize("evidence", ANSWERS)
def test_the_published_network_is_answered_as_tabled(evidence):
    given = {word.removeprefix("-"): not word.startswith("-") for word in evidence.split()}
    weights, log_evidence = weighed(given)
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    shares = dict(zip(("tub", "lung", "bronc"), marginals(MODEL.sets, weights), strict=True))
    for node, expected in zip(NODES, ANSWERS[evidence], strict=True):
        if expected is None:
            continue
        # Of a condition its share; of any other node how much the evidence loses when it is told as well.
        found = shares[node] if node in shares else np.exp(weighed(given | {node: True})[1] - log_evidence)
        assert found == pytest.approx(expected, abs=1e-6), node
