"""The guard-banded decision against published rules and worked figures.

- ILAC-G8:09/2019, 4.2.3: non-binary statement with a guard band w; w = U (95 %) keeps the risk of a false acceptance
below 2.5 %. - JCGM 106:2012 (figures from memory; the arithmetic is done here): the Zener diode with y = -5.47 V, u =
0.05 V and an upper limit of -5.40 V conforms with probability 0.92; z-values of its Table 1; a speed limit of 100
km/h measured with u = 2 % is acted upon from 107 km/h at 99.9 %.
- Meter tolerances as published samples: ±(1 % + 2 digits) at 100.0 V is ±1.2 V; ±(0.5 % + 3 digits of 1 mV) at 2 V is
  ±0.013 V; ±(1 % + 3 digits) at 120.0 V is ±1.5 V.
"""

from math import isclose, sqrt
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnostics.engine.electrics import meter_tolerance
from reports.document.decide import ORDER, decide, meter_uncertainty, share_of_supply, worst

PHI = NormalDist().cdf


@pytest.mark.parametrize(
    ("value", "outcome"),
    [(0.196, "pass"), (0.198, "conditional pass"), (0.202, "conditional fail"), (0.204, "fail")],
)
def test_ilac_g8_non_binary_statement(value: float, outcome: str) -> None:
    """Limit 0.200 V, U = 0.003 V (w = U): one value on each side of the three borders."""
    assert decide(value, 0.200, 0.003) == outcome


def test_borders_belong_to_the_better_side() -> None:
    """pass ≤ TL − w; conditional pass ≤ TL; conditional fail ≤ TL + w; fail above."""
    assert [decide(y, 8.0, 2.0) for y in (6.0, 8.0, 10.0, 10.5)] == list(ORDER)


def test_pass_at_the_acceptance_limit_risks_less_than_2_5_percent() -> None:
    """ILAC-G8: w = U = 2u. What just passes lies 2u under the limit; the chance to be over it is 1 − Φ(2) = 2.28 %."""
    u = 0.05
    value = 1.0 - 2 * u
    assert decide(value, 1.0, 2 * u) == "pass"
    risk = 1 - PHI((1.0 - value) / u)
    assert round(risk, 4) == 0.0228
    assert risk < 0.025


def test_without_a_guard_band_it_is_simple_acceptance() -> None:
    """w = 0: only pass and fail are left, and at the limit the risk is 50 %."""
    assert (decide(1.0, 1.0, 0.0), decide(1.0000001, 1.0, 0.0)) == ("pass", "fail")


def test_jcgm_106_zener_diode_is_no_plain_pass() -> None:
    """Conformance probability 0.92 is less than 97.5 %: under the limit, yet inside the guard band."""
    y, u, limit = -5.47, 0.05, -5.40
    assert round(PHI((limit - y) / u), 2) == 0.92
    assert decide(y, limit, 2 * u) == "conditional pass"


def test_jcgm_106_table_1_and_speed() -> None:
    z = [round(NormalDist().inv_cdf(p), 2) for p in (0.80, 0.90, 0.95, 0.99, 0.999)]
    assert z == [0.84, 1.28, 1.64, 2.33, 3.09]
    act_from = 100 / (1 - 0.02 * z[-1])
    assert round(act_from) == 107
    assert decide(act_from, 100, z[-1] * 0.02 * act_from) == "conditional fail"
    assert decide(act_from + 0.1, 100, z[-1] * 0.02 * act_from) == "fail"


def test_published_meter_tolerances() -> None:
    assert isclose(meter_tolerance(100.0, 1, 2, 0.1), 1.2)
    assert isclose(meter_tolerance(2.0, 0.5, 3, 0.001), 0.013)
    assert isclose(meter_tolerance(120.0, 1, 3, 0.1), 1.5)


def test_a_data_sheet_limit_taken_as_rectangular() -> None:
    """u = a/√3, so that U (k = 2) = 1.155·a: a little more than the limit itself (GUM, 4.3.7)."""
    assert isclose(meter_uncertainty(12.0) / meter_tolerance(12.0), 2 / sqrt(3))
    assert round(2 * 0.0029 / sqrt(3), 4) == 0.0033


@given(st.floats(0, 14), st.floats(8, 15))
def test_share_propagates_both_readings(volts: float, supply: float) -> None:
    """First order, GUM 5.1.2, against the same by finite differences."""
    share = share_of_supply(volts, supply)
    h = 1e-6
    by_volts = (share_of_supply(volts + h, supply).value - share.value) / h * meter_uncertainty(volts)
    by_supply = (share_of_supply(volts, supply + h).value - share.value) / h * meter_uncertainty(supply)
    assert isclose(share.value, volts / supply)
    assert isclose(share.uncertainty, sqrt(by_volts**2 + by_supply**2), rel_tol=1e-4)


@given(st.floats(-1e6, 1e6), st.floats(-1e6, 1e6), st.floats(0, 1e6))
def test_more_is_never_better_and_more_doubt_never_surer(value: float, limit: float, u: float) -> None:
    here = ORDER.index(decide(value, limit, u))
    assert ORDER.index(decide(value + 1.0, limit, u)) >= here
    if decide(value, limit, u + 1.0) in ("pass", "fail"):
        assert decide(value, limit, u + 1.0) == decide(value, limit, u)


@pytest.mark.parametrize("wrong", [(float("nan"), 1.0, 0.1), (1.0, float("inf"), 0.1), (1.0, 1.0, -0.1)])
def test_no_decision_without_figures(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="finite figures"):
        decide(*wrong)


def test_the_worst_decides() -> None:
    assert worst([]) is None
    assert worst(["pass", "conditional fail", "conditional pass"]) == "conditional fail"
