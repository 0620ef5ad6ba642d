"""Cylinders, viscosity, line loss, hold leak and robust spread against published figures."""

from math import pi
from statistics import NormalDist

import pytest

from diagnostics.engine.hydraulics import (
    annulus_mm2,
    force_n,
    leak_ml,
    leak_ml_min,
    line_loss_bar,
    piston_mm2,
    speed_mm_s,
    stroke_s,
    volume_ml,
    walther,
)
from diagnostics.engine.timing import LEAST_SIGMA_S, MAD_TO_SIGMA, times_of


class TestCylinders:
    def test_a_published_exercise(self) -> None:
        """https://qammunity.org/12221952/ : bore 75 mm, rod 14 mm, 5 N/mm², 200,000 mm³/s -> 4418 and 4264 mm²,
        22,090 and 21,320 N (it multiplies the rounded areas), 45.3 and 46.9 mm/s."""
        piston, annulus = piston_mm2(75), annulus_mm2(75, 14)
        flow = 200_000 * 60 / 1e6
        assert (round(piston), round(annulus)) == (4418, 4264)
        assert force_n(piston, 50) == pytest.approx(22_090, abs=2)
        assert force_n(annulus, 50) == pytest.approx(21_320, abs=2)
        assert round(speed_mm_s(piston, flow), 1) == 45.3
        assert round(speed_mm_s(annulus, flow), 1) == 46.9

    def test_a_large_cylinder(self) -> None:
        """https://mechanicalengineeringcourse.com/?p=1680 gives the inputs (bore 100, rod 70, 200 bar, 40 l/min); force
        and speed computed by hand: 157.1 kN, 84.9 mm/s."""
        assert round(force_n(piston_mm2(100), 200) / 1e3, 1) == 157.1
        assert round(speed_mm_s(piston_mm2(100), 40), 1) == 84.9

    def test_a_small_one_by_hand(self) -> None:
        """Bore 20, rod 10, stroke 200 mm at 150 bar and 0.5 l/min, computed by hand from F = pA and v = Q/A."""
        piston, annulus = piston_mm2(20), annulus_mm2(20, 10)
        assert [round(one, 1) for one in (piston, annulus, force_n(piston, 150), force_n(annulus, 150))] == [
            314.2, 235.6, 4712.4, 3534.3,
        ]  # fmt: skip
        assert round(stroke_s(piston, 200, 0.5), 2) == 7.54
        assert round(stroke_s(annulus, 200, 0.5), 2) == 5.65
        assert round(stroke_s(piston, 200, 0.5, 2), 1) == 15.1
        assert round(volume_ml(piston, 200), 1) == 62.8


class TestViscosity:
    def test_the_published_walther_example(self) -> None:
        """https://ar.scribd.com/document/361017004/Viscosity-vs-Temperature-Calculator : 32 mm²/s at 40 °C and 5.4 at
        100 °C, T = t + 273 -> A = 9.5259, B = 3.7449, 8.5 mm²/s at 80 °C."""
        fluid = walther((40, 32), (100, 5.4), zero_k=273.0)
        assert (round(fluid.a, 4), round(fluid.b, 4), round(fluid.mm2_s(80), 1)) == (9.5259, 3.7449, 8.5)

    def test_absolute_zero_makes_no_difference_that_is_printed(self) -> None:
        assert round(walther((40, 32), (100, 5.4)).mm2_s(80), 1) == 8.5

    def test_the_order_of_the_points_is_of_no_matter(self) -> None:
        assert walther((100, 5.4), (40, 32)) == walther((40, 32), (100, 5.4))


def test_line_loss_is_hagen_and_poiseuille() -> None:
    """White, Fluid Mechanics: Δp = 128 μ L Q / (π d⁴); 2 m of 3 mm line, 0.5 l/min, 870 kg/m³ at 31 and 309 mm²/s,
    computed by hand: 2.3 and 22.5 bar."""
    by_hand = 128 * 31e-6 * 870 * 2 * (0.5 / 6e4) / (pi * 0.003**4) / 1e5
    assert line_loss_bar(31, 2, 3, 0.5, 870) == pytest.approx(by_hand)
    assert [round(line_loss_bar(one, 2, 3, 0.5, 870), 1) for one in (31, 309)] == [2.3, 22.5]


class TestHold:
    def test_compressibility_as_published(self) -> None:
        """https://ns2.engineersedge.com/lubrication/compressibility_hydraulic_fluid.htm : 0.5 % of volume per 6.9 MPa,
        which is K = 1.38 GPa."""
        assert leak_ml(1000, 69, bulk_gpa=1.38) == pytest.approx(5.0, rel=0.001)

    def test_a_hold_by_hand(self) -> None:
        """60 ml from 150 to 140 bar: ΔV = 60 · 1 MPa / 1.4 GPa = 0.0429 ml; in 30 s twice that a minute."""
        assert round(leak_ml(60, 10), 4) == 0.0429
        assert round(leak_ml(60, 10, bulk_gpa=0.7), 4) == 0.0857
        assert round(leak_ml_min(60, 10, 30), 4) == 0.0857


class TestRobustSpread:
    def test_the_manual_of_r(self) -> None:
        """R, stats::mad, examples: mad(c(1:9)) is 1.4826 · 2 = 2.9652, and it stays that for c(1:8, 100)."""
        assert times_of(range(1, 10), None).sigma == pytest.approx(2.9652)
        assert times_of([*range(1, 9), 100], None).sigma == pytest.approx(2.9652)

    def test_the_constant_is_the_third_quartile_of_the_normal_distribution(self) -> None:
        """1.4826 = 1/Φ⁻¹(3/4); Rousseeuw and Croux, J. Amer. Stat. Assoc. 88 (1993) 1273-1283."""
        assert pytest.approx(1 / NormalDist().inv_cdf(0.75), abs=5e-5) == MAD_TO_SIGMA

    def test_two_halves_of_a_sample_give_the_textbook_median(self) -> None:
        """By hand: 2, 3, 5, 7 -> median 4, deviations 2, 1, 1, 3 -> MAD 1.5."""
        times = times_of([7, 2, 5, 3], 20.0)
        assert (times.median, times.n, times.oil_c) == (4, 4, 20.0)
        assert times.sigma == pytest.approx(1.5 * MAD_TO_SIGMA)
        assert times_of([4, 4, 4], None).sigma == LEAST_SIGMA_S
