"""The picture of a part's demand: what was asked for month by month, and what is expected with its band."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from diagnostics.charts.colours import INK, INSIDE, OUTSIDE
from diagnostics.charts.figures import new_figure
from diagnostics.engine.words import _

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDTH, HEIGHT = 440.0, 220.0
"""In points."""


def demand_figure(past: Sequence[tuple[str, float]], coming: Sequence[tuple[str, float, int, int]]) -> "Figure":
    """`past`: (month YYYY-MM, pieces); `coming`: (month, mean, low, high), the months after. Bars for what came; for
    what is expected a hollow dot at the mean on a line from low to high, so that both are told apart without colour.

    ValueError without a month.
    """
    from matplotlib.ticker import MaxNLocator

    if not past and not coming:
        raise ValueError("no month to draw")
    figure = new_figure(WIDTH, HEIGHT)
    axes = figure.add_axes((0.09, 0.17, 0.89, 0.72))
    axes.patch.set_visible(False)
    axes.bar(range(len(past)), [pieces for _month, pieces in past], width=0.7, color=OUTSIDE, label=_("asked for"))
    places = range(len(past), len(past) + len(coming))
    axes.vlines(
        places, [one[2] for one in coming], [one[3] for one in coming], color=INSIDE, linewidth=2.2,
        label=_("8 of 10 cases"),
    )  # fmt: skip
    axes.plot(
        places, [one[1] for one in coming], linestyle="", marker="o", markersize=4.5, markerfacecolor="none",
        markeredgecolor=INK, label=_("expected"),
    )  # fmt: skip
    months = [*(one[0] for one in past), *(one[0] for one in coming)]
    marked = [at for at, month in enumerate(months) if month.endswith(("-01", "-07"))] or [0]
    axes.set_xticks(marked, [months[at] for at in marked])
    axes.set_xlim(-0.6, len(months) - 0.4)
    axes.set_ylim(0, max([1.0, *(one[1] for one in past), *(float(one[3]) for one in coming)]) * 1.08)
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))
    axes.grid(visible=True, axis="y")
    axes.set_axisbelow(True)
    figure.legend(loc="upper center", ncols=3, frameon=False)
    return figure
