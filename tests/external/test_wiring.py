"""Wire colours and wire resistance against published values; the source stands beside each."""

from typing import get_args

import pytest

from diagnostics.engine.system.model import Colour
from diagnostics.engine.wiring import COPPER_PER_KELVIN, MOHM_PER_M, cable_ohm

# IEC 60757:2021, Table 1, in the order of the table.
IEC_60757 = ("BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK", "GD", "TQ", "SR")

# ISO 6722 automotive cable, highest resistance at 20 °C in mΩ/m: from memory (0.22 mm² least sure).
ISO_6722 = {0.22: 84.8, 0.35: 54.4, 0.5: 37.1, 0.75: 24.7, 1.0: 18.5, 1.5: 12.7, 2.5: 7.60, 4.0: 4.71, 6.0: 3.14}

# IEC 60228, class 5 (fine strands; installation cable), highest resistance at 20 °C in mΩ/m: published table, found.
IEC_60228_CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30}

# IEC 60287, Table 1: annealed copper at 20 °C, ohm metre and 1/K.
RHO_COPPER, ALPHA_COPPER = 1.7241e-8, 0.00393


def test_colour_codes_are_exactly_those_of_iec_60757() -> None:
    assert get_args(Colour) == IEC_60757


@pytest.mark.parametrize(("area", "mohm"), ISO_6722.items())
def test_one_metre_at_20_degrees_is_the_value_of_the_table(area: float, mohm: float) -> None:
    assert cable_ohm(area, 1.0) == pytest.approx(mohm / 1000, rel=1e-12)


@pytest.mark.parametrize(("area", "mohm"), IEC_60228_CLASS_5.items())
def test_automotive_limits_lie_a_little_below_those_of_installation_cable(area: float, mohm: float) -> None:
    assert 0.94 < 1000 * cable_ohm(area, 1.0) / mohm < 0.97


@pytest.mark.parametrize("area", [*MOHM_PER_M, 0.14, 8.0, 16.0])
def test_no_cable_beats_ideal_copper_nor_lies_far_above(area: float) -> None:
    ideal = RHO_COPPER / (area * 1e-6)
    assert 1.04 < cable_ohm(area, 1.0) / ideal < 1.12


def test_resistance_grows_with_length_and_with_temperature() -> None:
    assert ALPHA_COPPER == COPPER_PER_KELVIN
    assert cable_ohm(0.35, 4.6) == pytest.approx(4.6 * cable_ohm(0.35, 1.0))
    # 4 mm², 4 m, 30 A: 0.565 V at 20 °C and 0.698 V at 80 °C, calculated from the two tables above.
    assert round(30 * cable_ohm(4.0, 4.0), 3) == 0.565
    assert round(30 * cable_ohm(4.0, 4.0, 80.0), 3) == 0.698


@pytest.mark.parametrize(("area", "length"), [(0.0, 1.0), (-1.0, 1.0), (float("nan"), 1.0), (0.5, -1.0)])
def test_a_cable_that_cannot_be_is_refused(area: float, length: float) -> None:
    with pytest.raises(ValueError, match="expected an area above 0"):
        cable_ohm(area, length)
