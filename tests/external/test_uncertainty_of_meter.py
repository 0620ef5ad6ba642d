"""The uncertainty of a named meter against the worked example of ISO/IEC Guide 98-3:2008 (GUM; figures from memory, the
arithmetic is done here) and against simulation.

- GUM, 4.3.7, example 2: a digital voltmeter, 20 months after its calibration, is accurate to 14e-6 of the reading +
  2e-6 of its range of 1 V; the reading is 0.928571 V. Half-width a = 15 µV, u = a/√3 = 8.7 µV.
- GUM, 5.1.5: with 12 µV from elsewhere the combined standard uncertainty is 15 µV (219e-12 V²).
- GUM, 5.1.2 and 5.1.6: first order, independent: relative variances of a ratio add up.
- GUM Supplement 1: distributions propagated by simulation.
"""

from math import hypot, isclose, sqrt

import numpy as np
import pytest

from reports.document.decide import Meter, meter_uncertainty, share_of_supply


def test_the_voltmeter_of_the_guide() -> None:
    reading = 0.928571
    alone = Meter(percent=14e-4, volts=2e-6, valid=True)
    assert meter_uncertainty(reading, alone) / 2 == pytest.approx(8.7e-6, abs=0.05e-6)
    both = Meter(percent=14e-4, volts=2e-6, expanded_volts=2 * 12e-6, valid=True)
    combined = meter_uncertainty(reading, both) / 2
    assert combined == pytest.approx(15e-6, abs=0.5e-6)
    assert combined**2 == pytest.approx(219e-12, rel=0.01)


def test_a_car_s_voltage_by_hand() -> None:
    """±(0.5 % + 0.03 V) at 12.40 V: a = 0.092 V, U = 2·a/√3 = 0.1062 V; with the calibration’s U = 0.006 V 0.1064."""
    assert round(meter_uncertainty(12.4, Meter(0.5, 0.03, valid=True)), 4) == 0.1062
    assert round(meter_uncertainty(12.4, Meter(0.5, 0.03, 0.006, valid=True)), 4) == 0.1064
    assert round(meter_uncertainty(-12.4, Meter(0.5, 0.03, 0.006, valid=True)), 4) == 0.1064


@pytest.mark.parametrize(("volts", "supply"), [(1.19, 12.4), (0.05, 12.6), (11.9, 12.1)])
def test_a_share_as_relative_variances_add_up(volts: float, supply: float) -> None:
    meter = Meter(0.3, 0.02, 0.004, valid=True)
    found = share_of_supply(volts, supply, meter)
    relative = hypot(meter_uncertainty(volts, meter) / volts, meter_uncertainty(supply, meter) / supply)
    assert isclose(found.uncertainty, volts / supply * relative)


def test_a_share_as_simulated() -> None:
    """A million readings with a rectangular error of the meter and a normal one of its calibration."""
    rng, count = np.random.default_rng(7), 1_000_000
    meter = Meter(0.3, 0.02, 0.05, valid=True)

    def readings(volts: float) -> np.ndarray:
        half = volts * 0.003 + 0.02
        return volts + rng.uniform(-half, half, count) + rng.normal(0, 0.05 / 2, count)

    shares = readings(1.19) / readings(12.4)
    assert share_of_supply(1.19, 12.4, meter).uncertainty == pytest.approx(2 * shares.std(), rel=0.005)


def test_the_meter_s_common_error_would_only_make_it_smaller() -> None:
    """GUM, 5.2.2: both readings carry the same error of the calibration; taken as independent, U is not too small."""
    rng, count = np.random.default_rng(8), 1_000_000
    common = rng.normal(0, 0.05 / 2, count)
    shares = (1.19 + common) / (12.4 + common)
    assert share_of_supply(1.19, 12.4, Meter(0.0, 1e-9, 0.05, valid=True)).uncertainty >= 2 * shares.std()
    assert sqrt(3) * meter_uncertainty(1.0, Meter(0.0, 0.01, valid=True)) == pytest.approx(0.02)
