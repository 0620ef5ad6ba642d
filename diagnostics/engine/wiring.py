"""Resistance of a wire: what an ohmmeter shows between the module's pin and a plug when the wire is sound."""

COPPER_PER_KELVIN = 0.00393
"""Temperature coefficient of copper at 20 °C, 1/K: IEC 60287, Table 1."""

MOHM_PER_M = {
    0.22: 84.8,
    0.35: 54.4,
    0.5: 37.1,
    0.75: 24.7,
    1.0: 18.5,
    1.5: 12.7,
    2.5: 7.60,
    4.0: 4.71,
    6.0: 3.14,
}
"""Area in mm² -> highest resistance at 20 °C in mΩ/m of automotive copper cable: ISO 6722, from memory."""

_OHM_MM2_PER_M = 0.01885
"""For areas that the table has not: what its 0.75 to 6 mm² rows come to, in Ω·mm²/m."""


def cable_ohm(area_mm2: float, length_m: float, temp_c: float = 20.0) -> float:
    """Highest resistance in ohms of a sound copper cable of `length_m`, one way, at `temp_c`.

    Raises ValueError for an area that is not above 0 or a length below 0.
    """
    if not area_mm2 > 0 or not length_m >= 0:
        raise ValueError(f"a cable of {area_mm2} mm² and {length_m} m; expected an area above 0 and a length from 0 on")
    mohm_per_m = MOHM_PER_M.get(area_mm2, 1000 * _OHM_MM2_PER_M / area_mm2)
    return mohm_per_m / 1000 * length_m * (1 + COPPER_PER_KELVIN * (temp_c - 20.0))
