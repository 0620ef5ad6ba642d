"""matplotlib without pyplot, told once how the charts are written: text as text, the same bytes each time."""

from functools import cache
from typing import TYPE_CHECKING

from diagnostics.charts.colours import INK, LINE, SOFT

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FAMILY = "DejaVu Sans"
"""What the letters are measured with; page and paper name their own."""


@cache
def _set_up() -> None:
    """For the process and not for one drawing: a context of settings is shared by all threads of a server."""
    import matplotlib

    matplotlib.rcParams.update(
        {
            "svg.fonttype": "none",
            "svg.hashsalt": "topwright",
            "font.family": FAMILY,
            "font.size": 10.5,
            "text.color": INK,
            "axes.edgecolor": SOFT,
            "axes.labelcolor": INK,
            "axes.linewidth": 0.8,
            "axes.spines.top": False,
            "axes.spines.right": False,
            "xtick.color": SOFT,
            "ytick.color": SOFT,
            "xtick.labelcolor": INK,
            "ytick.labelcolor": INK,
            "grid.color": LINE,
            "grid.linewidth": 0.6,
        }
    )


def new_figure(width: float, height: float) -> "Figure":
    """An empty figure of this size in points (1/72 inch), with no ground of its own."""
    _set_up()
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width / 72, height / 72), dpi=72)
    figure.patch.set_visible(False)
    return figure
