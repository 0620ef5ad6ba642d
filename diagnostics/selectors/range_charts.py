"""The curves of a model as a picture and as the table beside it."""

from collections.abc import Sequence
from dataclasses import dataclass

from diagnostics.charts import curves_figure, svg_for_page
from diagnostics.charts.curves import age_ticks, at_risk_at
from diagnostics.charts.words import curve_words, percent_words
from diagnostics.engine.words import _
from diagnostics.learning.records import Curve


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One curve at one age, in words."""

    share: str
    band: str
    nonparametric: str
    at_risk: int


@dataclass(frozen=True, slots=True)
class CurvesView:
    """`svg`: the picture; `labels` of the curves, `rows`: age and a point for each curve."""

    svg: str
    labels: tuple[str, ...]
    rows: tuple[tuple[str, tuple[CurvePoint, ...]], ...]


def curves_view(curves: Sequence[Curve], *, prefix: str, title: str) -> CurvesView | None:
    """None where there is no curve to draw. `prefix`: unique on the page."""
    drawn = tuple(curve for curve in curves if len(curve.age) > 1)
    if not drawn:
        return None
    last = max(max(curve.age) for curve in drawn)
    ages = age_ticks(last)
    rows = tuple((f"{age:g}", tuple(_point(curve, age) for curve in drawn)) for age in ages if age > 0)
    ends = [
        _("{curve}: {share} failed at {age} years").format(
            curve=curve_words(curve.label), share=percent_words(curve.share[-1]), age=f"{curve.age[-1]:g}"
        )
        for curve in drawn
    ]
    words = _("Share failed by age, with bands of nine tenths and steps without a model. {ends}.")
    svg = svg_for_page(curves_figure(drawn), prefix=prefix, title=title, description=words.format(ends="; ".join(ends)))
    return CurvesView(svg, tuple(curve_words(curve.label) for curve in drawn), rows)


def _point(curve: Curve, age: float) -> CurvePoint:
    at = min(range(len(curve.age)), key=lambda i: abs(curve.age[i] - age))
    steps = curve.nonparametric[at]
    return CurvePoint(
        share=percent_words(curve.share[at]),
        band=_("{low} to {high}").format(low=percent_words(curve.low[at]), high=percent_words(curve.high[at])),
        nonparametric="–" if steps is None else percent_words(steps),
        at_risk=at_risk_at(curve, age),
    )
