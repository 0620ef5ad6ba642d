"""Arithmetic of readings against published values."""

import pytest

from diagnostics.engine.electrics import (
    METER_OHM,
    behind_meter,
    contact_ohm,
    meter_tolerance,
    pin_volts,
    share_u,
    spread,
    state_of_charge,
    typed_step,
    volts_u,
)
from diagnostics.engine.levels import TOO_NEAR
from diagnostics.engine.signals import read_pin, share_of
from reports.document.decide import share_of_supply
from tests.diagnostics.small_system import DATA, small_system


@pytest.mark.parametrize(
    ("supply", "pull_up", "volts", "ohms"),
    [
        # Ohm's law at the divider V = Vs·Rc/(Rp+Rc); the second and third just at the CMOS low limit of 0.3 VDD
        (5.0, 1000, 0.05, 10.10),
        (5.0, 1000, 1.5, 428.57),
        (12.0, 1000, 3.6, 428.57),
        (12.0, 2200, 0.1, 18.49),
    ],
)
def test_pull_up_divider(supply, pull_up, volts, ohms):
    assert contact_ohm(volts, supply, pull_up) == pytest.approx(ohms, abs=0.005)
    assert pin_volts(contact_ohm(volts, supply, pull_up), supply, pull_up) == pytest.approx(volts)


def test_an_open_contact():
    assert contact_ohm(12.0, 12.0, 1000) == float("inf")
    assert pin_volts(float("inf"), 12.0, 1000) == 12.0


@pytest.mark.parametrize(("pull_up", "percent"), [(1e3, 0.01), (1e4, 0.10), (1e5, 0.99), (1e6, 9.09)])
def test_a_meter_of_ten_megohms_loads(pull_up, percent):
    """An open pin reads low by Rs/(Rs + 10 MΩ), as tables of meter loading print it; the share leaves that out."""
    reads = pin_volts(METER_OHM, 12.0, pull_up)
    assert round(100 * (1 - reads / 12.0), 2) == percent
    system = small_system(module=DATA["module"] | {"pull_up_ohm": pull_up})
    assert share_of(system, system.positions["BG3"].pin, reads, 12.0) == pytest.approx(1.0)


def test_resistance_behind_a_meter():
    assert behind_meter(METER_OHM) == float("inf")
    assert behind_meter(5e6) == pytest.approx(10e6)  # two equal resistances side by side
    assert behind_meter(100.0) == pytest.approx(100.0, rel=2e-5)


@pytest.mark.parametrize(
    ("reading", "percent", "digits", "step", "tolerance"),
    [
        # ±(1 % + 2) at 100.0 V -> 98.8 … 101.2 V; ±(0.5 % + 3) at 2 V with 1 mV -> ±0.013 V (gvda-instrument.com, basic
        # specifications and multimeter error); ±(1 % + 3) at 120.0 V -> ±1.5 V (Fluke knowledge article KA-03135)
        (100.0, 1.0, 2, 0.1, 1.2),
        (2.0, 0.5, 3, 0.001, 0.013),
        (120.0, 1.0, 3, 0.1, 1.5),
    ],
)
def test_meter_tolerance_as_published(reading, percent, digits, step, tolerance):
    assert meter_tolerance(reading, percent, digits, step) == pytest.approx(tolerance)


def test_uncertainty_of_a_reading_by_the_published_specification():
    """±(0.5 % + 3) at 2 V with 1 mV is ±0.013 V (gvda-instrument.com, meter error); as a rectangular half-width a the
    standard uncertainty is a/√3 (GUM, 4.3.7). Two decimals: the 20 V range. One: its last place was rounded away."""
    assert volts_u(1.999) == pytest.approx(0.013 / 3**0.5, rel=1e-3)
    assert volts_u(12.34) == pytest.approx((0.0617 + 0.03) / 3**0.5)
    assert volts_u(12.3) == pytest.approx((0.0615 + 0.03 + 0.05) / 3**0.5)
    assert [typed_step(one) for one in (12, 12.3, 12.34, 0.198, 0.0)] == [0.1, 0.1, 0.01, 0.001, 0.1]


def test_chance_on_either_side_of_a_limit():
    """JCGM 106 (from memory): a Zener diode at −5.47 V, u = 0.05 V, limit −5.40 V conforms with 0.92. ILAC-G8:09/2019,
    4.2.3: a guard band of U = 2u leaves less than 2.5 %. z-values of JCGM 106, Table 1: 1.28, 1.64, 2.33."""
    assert spread(-5.47, 0.05, [-5.40])[0] == pytest.approx(0.92, abs=0.005)
    assert spread(0.30 - 2 * 0.01, 0.01, [0.30])[1] == pytest.approx(0.0228, abs=5e-5)
    assert spread(0.30 - 2 * 0.01, 0.01, [0.30])[1] < TOO_NEAR
    for z, chance in ((1.28, 0.90), (1.64, 0.95), (2.33, 0.99)):
        assert spread(0.0, 1.0, [z])[0] == pytest.approx(chance, abs=1e-3)


@pytest.mark.parametrize(("volts", "supply"), [(3.77, 12.53), (0.15, 12.61), (8.81, 11.97)])
def test_uncertainty_of_a_share_by_the_rule_of_the_certificate(volts, supply):
    """Both combine in first order as if independent (GUM, 5.1.2); the certificate's is the expanded one, k = 2."""
    assert 2 * share_u(volts, supply) == pytest.approx(share_of_supply(volts, supply).uncertainty)


@pytest.mark.parametrize(
    ("volts", "percent"), [(12.65, 100), (12.45, 75), (12.24, 50), (12.06, 25), (11.89, 0), (13.0, 100), (11.0, 0)]
)
def test_battery_table(volts, percent):
    """Open-circuit voltage of a flooded battery at 26.7 °C: table credited to BCI (studylib.net 18054160,
    discoverbattery.com)."""
    assert state_of_charge(volts) == percent


def test_battery_between_two_rows():
    assert state_of_charge(12.35) == pytest.approx(63.1, abs=0.05)


@pytest.mark.parametrize(
    ("share", "reads"), [(0.0, "made"), (0.30, "made"), (0.301, "between"), (0.699, "between"), (0.70, "released")]
)
def test_logic_thresholds(share, reads):
    """CMOS inputs: low up to 0.3 VDD, high from 0.7 VDD (eesemi.com, CMOS test parameters); between them undefined."""
    system = small_system()
    assert read_pin(system, system.positions["BG2"], share) == reads
