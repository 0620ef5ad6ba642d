"""Hydraulics of power tops: cylinders, the fluid and its viscosity, the loss in a line, what a pressure hold says of
a leak.

Everything is by calculation, without friction, valves and leakage: a figure to compare with, never a promise. Units
stand in the names; areas in mm², flow in l/min, pressure in bar, kinematic viscosity in mm²/s.
"""

from dataclasses import dataclass
from math import isfinite, log10, pi

from diagnostics.engine.system.model import Hydraulics, Position, Step, TopSystem
from diagnostics.engine.words import _

KELVIN = 273.15
BULK_GPA = 1.4
"""Bulk modulus of mineral oil without air, 1.4 to 1.7 GPa (from memory; 1.38 GPa follows from a published 0.5 % volume
per 6.9 MPa). Air and hoses lower it strongly, so a leak computed with it is a lower bound."""
BAR_PER_KELVIN = 10.0
"""Drift of a rigid trapped volume, K·α = 1.4 GPa · 7e-4 /K (α from memory)."""
REFERENCE_C = 20.0
"""Fluid temperature at which a system file's usual seconds hold: common practice, no source."""
LEAST_LEFT = 0.2
"""Share of the relief pressure that is left for the work at least: below it the motor stalls and no time follows."""


class HydraulicsError(ValueError):
    """A figure that cannot be; one sentence."""


def _above_zero(**figures: float) -> None:
    for name, figure in figures.items():
        if not isfinite(figure) or figure <= 0:
            raise HydraulicsError(_("{name} is {figure}; expected a number above 0.").format(name=name, figure=figure))


def piston_mm2(bore_mm: float) -> float:
    """Area on which the pressure pushes the rod out."""
    _above_zero(bore_mm=bore_mm)
    return pi / 4.0 * bore_mm**2


def annulus_mm2(bore_mm: float, rod_mm: float) -> float:
    """Area on which the pressure pulls the rod in. Raises HydraulicsError for a rod that fills the bore."""
    _above_zero(bore_mm=bore_mm, rod_mm=rod_mm)
    if rod_mm >= bore_mm:
        words = _("The rod ({rod} mm) is not thinner than the bore ({bore} mm).")
        raise HydraulicsError(words.format(rod=rod_mm, bore=bore_mm))
    return pi / 4.0 * (bore_mm**2 - rod_mm**2)


def force_n(area_mm2: float, bar: float) -> float:
    """F = p·A; 1 bar is 0.1 N/mm²."""
    _above_zero(area_mm2=area_mm2, bar=bar)
    return area_mm2 * bar / 10.0


def speed_mm_s(area_mm2: float, flow_l_min: float, cylinders: int = 1) -> float:
    """Speed of each of `cylinders` in parallel, which share the flow evenly."""
    _above_zero(area_mm2=area_mm2, flow_l_min=flow_l_min, cylinders=cylinders)
    return flow_l_min * 1e6 / 60.0 / (area_mm2 * cylinders)


def stroke_s(area_mm2: float, stroke_mm: float, flow_l_min: float, cylinders: int = 1) -> float:
    """Seconds of a whole stroke."""
    _above_zero(stroke_mm=stroke_mm)
    return stroke_mm / speed_mm_s(area_mm2, flow_l_min, cylinders)


def volume_ml(area_mm2: float, length_mm: float) -> float:
    _above_zero(area_mm2=area_mm2, length_mm=length_mm)
    return area_mm2 * length_mm / 1000.0


@dataclass(frozen=True, slots=True)
class Walther:
    """Viscosity over temperature after Walther (ASTM D341): lg lg(ν + 0.7) = a − b·lg T. Holds above 2 mm²/s."""

    a: float
    b: float
    zero_k: float = KELVIN

    def mm2_s(self, celsius: float) -> float:
        """Kinematic viscosity. Raises HydraulicsError below absolute zero, and where no fluid is left."""
        _above_zero(kelvin=celsius + self.zero_k)
        try:
            inner = 10.0 ** (self.a - self.b * log10(celsius + self.zero_k))
            return float(10.0**inner - 0.7)
        except OverflowError:
            words = _("With these two points it would be solid at {celsius:g} °C; look at both again.")
            raise HydraulicsError(words.format(celsius=celsius)) from None


def walther(first: tuple[float, float], second: tuple[float, float], zero_k: float = KELVIN) -> Walther:
    """Through two points (°C, mm²/s). Raises HydraulicsError for points of no fluid: the warmer one is thinner."""
    (cold, thick), (warm, thin) = sorted((first, second))
    if not (cold < warm and thick > thin >= 0.4):
        words = _("The points {first} and {second} are no viscosity of a fluid: it gets thinner as it gets warmer.")
        raise HydraulicsError(words.format(first=first, second=second))
    _above_zero(kelvin=cold + zero_k)
    one, two = (log10(log10(viscosity + 0.7)) for viscosity in (thick, thin))
    b = (one - two) / (log10(warm + zero_k) - log10(cold + zero_k))
    return Walther(one + b * log10(cold + zero_k), b, zero_k)


def line_loss_bar(mm2_s: float, length_m: float, bore_mm: float, flow_l_min: float, kg_m3: float) -> float:
    """Loss of a laminar flow in a round line: Δp = 128·μ·L·Q/(π·d⁴)."""
    _above_zero(mm2_s=mm2_s, length_m=length_m, bore_mm=bore_mm, flow_l_min=flow_l_min, kg_m3=kg_m3)
    dynamic_pa_s = mm2_s * 1e-6 * kg_m3
    return 128.0 * dynamic_pa_s * length_m * (flow_l_min / 6e4) / (pi * (bore_mm * 1e-3) ** 4) / 1e5


def leak_ml(trapped_ml: float, drop_bar: float, bulk_gpa: float = BULK_GPA) -> float:
    """Fluid that left a rigid volume while its pressure fell by `drop_bar`: ΔV = V·Δp/K. A lower bound (BULK_GPA)."""
    _above_zero(trapped_ml=trapped_ml, bulk_gpa=bulk_gpa)
    if not isfinite(drop_bar) or drop_bar < 0:
        raise HydraulicsError(_("A pressure that rose is no leak: {drop} bar.").format(drop=-drop_bar))
    return trapped_ml * drop_bar * 1e5 / (bulk_gpa * 1e9)


def leak_ml_min(trapped_ml: float, drop_bar: float, seconds: float, bulk_gpa: float = BULK_GPA) -> float:
    """The same by the minute of a hold."""
    _above_zero(seconds=seconds)
    return leak_ml(trapped_ml, drop_bar, bulk_gpa) * 60.0 / seconds


# --- of a declared system


def lines_loss_bar(hydraulics: Hydraulics, oil_c: float) -> float:
    """Loss in the lines at the pump's flow with fluid of `oil_c`."""
    fluid, lines = hydraulics.fluid, hydraulics.lines
    viscosity = walther(*fluid.viscosity).mm2_s(oil_c)
    return line_loss_bar(viscosity, lines.length_m, lines.bore_mm, hydraulics.pump.flow_l_min, fluid.density_kg_m3)


def slower_when_cold(hydraulics: Hydraulics, oil_c: float) -> float:
    """How many times longer a step takes than with fluid of REFERENCE_C, by the pressure that the lines leave for the
    work.

    1 at the reference, above 1 below it. It leaves out that the motor draws more and the battery sags, so a cold top
    is slower still: a step within this time is no sign of a weak pump, one beyond it need not be.
    """
    relief = hydraulics.pump.relief_bar
    warm, now = (1.0 - lines_loss_bar(hydraulics, celsius) / relief for celsius in (REFERENCE_C, oil_c))
    return max(warm, LEAST_LEFT) / max(now, LEAST_LEFT)


def usual_up_to_s(system: TopSystem, step: Step, oil_c: float | None) -> float:
    """The longest usual seconds of a step at a fluid temperature: for what the pump drives, more when it is cold."""
    pump = system.hydraulics.pump.position if system.hydraulics is not None else ""
    if system.hydraulics is None or oil_c is None or pump not in step.driven_by:
        return step.seconds[1]
    return step.seconds[1] * max(1.0, slower_when_cold(system.hydraulics, oil_c))


@dataclass(frozen=True, slots=True)
class CylinderFigures:
    """A cylinder by calculation, without losses. `cylinders`: how many share the pump's flow in the steps that it
    drives; forces at the relief pressure, speeds and strokes at the pump's flow."""

    code: str
    name: str
    cylinders: int
    push_n: float
    pull_n: float
    out_mm_s: float
    in_mm_s: float
    out_s: float
    in_s: float


def is_sized(position: Position) -> bool:
    """Whether the file says bore, rod and stroke, in sizes that can be."""
    bore, rod = position.bore_mm, position.rod_mm
    return bore is not None and rod is not None and position.stroke_mm is not None and rod < bore


def cylinder_figures(system: TopSystem) -> tuple[CylinderFigures, ...]:
    """One row for each sized cylinder; none where the system declares no hydraulics."""
    if system.hydraulics is None:
        return ()
    pump = system.hydraulics.pump
    rows = []
    for code, position in system.positions.items():
        if not is_sized(position):
            continue
        n = in_parallel(system, code)
        out, back = areas_mm2(position)
        stroke = position.stroke_mm or 0.0
        rows.append(
            CylinderFigures(
                code=code,
                name=position.name,
                cylinders=n,
                push_n=force_n(out, pump.relief_bar),
                pull_n=force_n(back, pump.relief_bar),
                out_mm_s=speed_mm_s(out, pump.flow_l_min, n),
                in_mm_s=speed_mm_s(back, pump.flow_l_min, n),
                out_s=stroke_s(out, stroke, pump.flow_l_min, n),
                in_s=stroke_s(back, stroke, pump.flow_l_min, n),
            )
        )
    return tuple(rows)


def areas_mm2(position: Position) -> tuple[float, float]:
    """Piston and annulus of a sized cylinder."""
    bore, rod = position.bore_mm or 0.0, position.rod_mm or 0.0
    return piston_mm2(bore), annulus_mm2(bore, rod)


def in_parallel(system: TopSystem, code: str) -> int:
    """Cylinders that share the flow with this one: the most that any step drives with it, itself included."""
    steps = [step for motion in system.motions.values() for step in motion.steps if code in step.driven_by]
    counts = [sum(system.positions[one].kind == "cylinder" for one in step.driven_by) for step in steps]
    return max(counts, default=1)


def trapped_ml(system: TopSystem, code: str) -> float | None:
    """The least volume that a hold at this position shuts in: the piston side of a cylinder at full stroke, the lines
    at the pump; None where the file does not say."""
    position = system.positions[code]
    if position.kind == "pump" and system.hydraulics is not None:
        lines = system.hydraulics.lines
        return volume_ml(piston_mm2(lines.bore_mm), lines.length_m * 1000.0)
    if not is_sized(position):
        return None
    return volume_ml(areas_mm2(position)[0], position.stroke_mm or 0.0)
