"""Cumulative share failed by age: the model with its band, the nonparametric steps beside it, numbers at risk below."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from diagnostics.charts.colours import INK, INSIDE, OUTSIDE, SOFT
from diagnostics.charts.figures import new_figure
from diagnostics.charts.words import curve_words
from diagnostics.engine.words import _
from diagnostics.learning.records import Curve

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH, HEIGHT = 440.0, 300.0
"""In points."""
_COLOUR = {"all": INK, "inside": INSIDE, "outside": OUTSIDE}
_DASH = {"all": "-", "inside": "-", "outside": (0, (5, 2))}
TICKS = 6


def curves_figure(curves: Sequence[Curve]) -> "Figure":
    """The curves in one chart. Lines differ by dashes as well as by colour, and each is named at its end.

    ValueError without a curve.
    """
    if not curves:
        raise ValueError("no curve to draw")
    figure = new_figure(WIDTH, HEIGHT + 14 * len(curves))
    below = (60 + 14 * len(curves)) / (HEIGHT + 14 * len(curves))
    axes = figure.add_axes((0.15, below, 0.68, 0.965 - below))
    axes.patch.set_visible(False)
    top = _top(curves)
    for curve in curves:
        _draw(axes, curve)
    _name_ends(axes, curves, top)
    last = max(max(curve.age) for curve in curves)
    axes.set_xlim(0, last)
    axes.set_ylim(0, top)
    ticks = age_ticks(last)
    axes.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    steps = axes.get_yticks()
    axes.set_yticks(steps, [_("{share} %").format(share=f"{100 * tick:g}") for tick in steps])
    axes.set_ylim(0, top)
    axes.set_xlabel(_("Age in years"))
    axes.set_ylabel(_("Share failed"))
    axes.grid(visible=True, axis="y")
    axes.set_axisbelow(True)
    _at_risk(axes, curves, ticks)
    return figure


def age_ticks(last: float) -> list[float]:
    """At most TICKS + 1 round ages from 0 to `last` years."""
    step = next((one for one in (0.5, 1, 2, 5, 10, 20) if last / one <= TICKS), 50)
    return [i * step for i in range(int(last / step + 1e-9) + 1)]


def at_risk_at(curve: Curve, age: float) -> int:
    """Units still watched at the first age of the curve that is not below `age`, else at its last."""
    return next((count for at, count in zip(curve.age, curve.at_risk, strict=True) if at >= age - 1e-9), 0)


def _top(curves: Sequence[Curve]) -> float:
    """Round share above everything that is drawn of the model and the steps; bands may be cut."""
    seen = [share for curve in curves for share in (*curve.share, *(n for n in curve.nonparametric if n is not None))]
    band = [high for curve in curves for high in curve.high]
    wanted = max(1.08 * max(seen), min(max(band), 1.6 * max(seen)), 0.02)
    return next((one for one in (0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8) if one >= wanted), 1.0)


def _draw(axes: "Axes", curve: Curve) -> None:
    colour = _COLOUR.get(curve.label, INK)
    axes.fill_between(curve.age, curve.low, curve.high, color=colour, alpha=0.16, linewidth=0)
    axes.plot(curve.age, curve.share, color=colour, linewidth=1.8, linestyle=_DASH.get(curve.label, "-"))
    seen = [(age, share) for age, share in zip(curve.age, curve.nonparametric, strict=True) if share is not None]
    if seen:
        ages, shares = zip(*seen, strict=True)
        axes.plot(ages, shares, color=colour, linewidth=0.9, drawstyle="steps-post", marker="|", markersize=3)


def _name_ends(axes: "Axes", curves: Sequence[Curve], top: float) -> None:
    """Names at the ends of the lines, moved apart where they would lie on each other."""
    least, floor = 0.055 * top, 0.0
    for curve in sorted(curves, key=lambda one: one.share[-1]):
        at = max(min(curve.share[-1], top), floor)
        colour = _COLOUR.get(curve.label, INK)
        axes.annotate(
            curve_words(curve.label),
            (curve.age[-1], at),
            xytext=(5, 0),
            textcoords="offset points",
            va="center",
            color=colour,
            annotation_clip=False,
        )
        floor = at + least


def _at_risk(axes: "Axes", curves: Sequence[Curve], ticks: Sequence[float]) -> None:
    from matplotlib.transforms import ScaledTranslation

    figure = axes.figure
    beside = ScaledTranslation(14 / 72, 0, figure.dpi_scale_trans)
    head = axes.get_xaxis_transform() + ScaledTranslation(14 / 72, -44 / 72, figure.dpi_scale_trans)
    last = axes.get_xlim()[1]
    axes.text(last, 0, _("at risk"), transform=head, color=SOFT, va="center", fontsize=9.5, clip_on=False)
    for line, curve in enumerate(curves):
        shift = ScaledTranslation(0, -(58 + 14 * line) / 72, figure.dpi_scale_trans)
        place = axes.get_xaxis_transform() + shift
        colour = _COLOUR.get(curve.label, INK)
        for tick in ticks:
            words = f"{at_risk_at(curve, tick)}"
            axes.text(tick, 0, words, transform=place, ha="center", va="center", color=colour, fontsize=9.5)
        axes.text(last, 0, curve_words(curve.label), transform=place + beside, va="center", color=colour, fontsize=9.5)
