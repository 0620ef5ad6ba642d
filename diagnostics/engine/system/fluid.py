"""Rules of the `hydraulics` block, and what of it looks odd without being a mistake."""

from collections.abc import Iterator

from diagnostics.engine.hydraulics import HydraulicsError, cylinder_figures, lines_loss_bar, walther
from diagnostics.engine.system.model import Hydraulics, Motion, TopSystem
from diagnostics.engine.system.problems import At, Finding, shown
from diagnostics.engine.words import _

OIL_C = (-40.0, 120.0)
"""Fluid temperatures between which entries are taken."""
COLDEST_C = -20.0
"""Fluid temperature at which a top must still move a little: common practice, no source."""
_AT: At = ("hydraulics",)


def hydraulics_findings(system: TopSystem) -> Iterator[Finding]:
    """Mistakes of the block: a pump that is none, a viscosity of no fluid, a hold that the pump cannot give."""
    hydraulics = system.hydraulics
    if hydraulics is None:
        return
    yield from _pump(system, hydraulics)
    try:
        for celsius in OIL_C:
            walther(*hydraulics.fluid.viscosity).mm2_s(celsius)
    except HydraulicsError as error:
        yield (*_AT, "fluid", "viscosity"), str(error)
    hold, relief = hydraulics.hold, hydraulics.pump.relief_bar
    if hold.test_bar > relief:
        words = _("The hold begins at {test:g} bar, but the relief valve opens at {relief:g} bar; expected less.")
        yield (*_AT, "hold", "test_bar"), words.format(test=hold.test_bar, relief=relief)
    if hold.usual_loss_bar >= hold.test_bar / 2.0:
        words = _("A loss of {loss:g} of {test:g} bar is no hold; expected less than half.")
        yield (*_AT, "hold", "usual_loss_bar"), words.format(loss=hold.usual_loss_bar, test=hold.test_bar)


def _pump(system: TopSystem, hydraulics: Hydraulics) -> Iterator[Finding]:
    at, code = (*_AT, "pump", "position"), hydraulics.pump.position
    pumps = [name for name, position in system.positions.items() if position.kind == "pump"]
    if not pumps:
        yield at, _("The system has no pump, so it has no hydraulics.")
    elif code not in pumps:
        words = _("{code} is no pump of this system; expected one of: {known}.")
        yield at, words.format(code=shown(code), known=", ".join(pumps))


def remarks_of(system: TopSystem) -> tuple[Finding, ...]:
    """What a person should look at again in a system that is valid."""
    if system.hydraulics is None:
        return ()
    return (*_slow_strokes(system), *_stiff_lines(system.hydraulics))


def _slow_strokes(system: TopSystem) -> Iterator[Finding]:
    """Cylinders that need longer for a stroke, without any loss, than the steps that they drive usually take."""
    for figures in cylinder_figures(system):
        for name, motion in system.motions.items():
            usual = _usual_s(motion, figures.code)
            least = min(figures.out_s, figures.in_s)
            if 0.0 < usual < least:
                words = _(
                    "By calculation a stroke of {code} takes {least:.1f} s or more at the pump's flow; the steps of "
                    "“{motion}” that it drives usually take up to {usual:g} s. Look at bore, stroke and flow again."
                )
                words = words.format(code=figures.code, least=least, motion=motion.title, usual=usual)
                yield ("motions", name), words


def _usual_s(motion: Motion, code: str) -> float:
    return sum(step.seconds[1] for step in motion.steps if code in step.driven_by)


def _stiff_lines(hydraulics: Hydraulics) -> Iterator[Finding]:
    loss = lines_loss_bar(hydraulics, COLDEST_C)
    if loss >= hydraulics.pump.relief_bar:
        words = _(
            "By calculation the lines alone take {loss:.0f} bar at {cold:.0f} °C, more than the relief valve's "
            "{relief:g} bar: such a top would stand still in the cold. Look at line and fluid again."
        )
        words = words.format(loss=loss, cold=COLDEST_C, relief=hydraulics.pump.relief_bar)
        yield (*_AT, "lines"), words
