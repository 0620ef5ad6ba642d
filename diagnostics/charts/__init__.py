"""Charts of what was learned, drawn by matplotlib without pyplot. No Django below here."""

from diagnostics.charts.curves import curves_figure
from diagnostics.charts.strip import Strip
from diagnostics.charts.svg import svg_for_page, svg_for_paper

__all__ = ["Strip", "curves_figure", "svg_for_page", "svg_for_paper"]
