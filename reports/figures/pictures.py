"""The picture of a figure: lying bars, one row of the table after the other."""

from typing import TYPE_CHECKING

from diagnostics.charts.colours import INK, INSIDE, OUTSIDE
from diagnostics.charts.figures import new_figure
from diagnostics.charts.svg import svg_for_page
from diagnostics.engine.words import _
from reports.figures.records import Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDTH, LINE, AROUND = 440.0, 16.0, 62.0
"""In points: a bar's share of the height, and what stands above and below all of them."""
COLOURS, HATCHES = (OUTSIDE, INSIDE), ("", "////")
LONGEST = 24
"""Letters of a row's name."""


def bars_figure(table: Table) -> "Figure":
    """Bars of the columns that are drawn, told apart by hatching as well as by colour. ValueError without a row."""
    if not table.rows:
        raise ValueError("no row to draw")
    drawn = [at for at, column in enumerate(table.columns) if column.key in table.drawn]
    height = AROUND + LINE * len(table.rows) * max(len(drawn), 1)
    figure = new_figure(WIDTH, height)
    axes = figure.add_axes((0.34, 40 / height, 0.6, 1 - (AROUND - 2) / height))
    axes.patch.set_visible(False)
    thick = 0.8 / max(len(drawn), 1)
    for line, at in enumerate(drawn):
        places = [i + (line - (len(drawn) - 1) / 2) * thick for i in range(len(table.rows))]
        values = [row.cells[at].value or 0.0 for row in table.rows]
        axes.barh(
            places, values, height=thick, color=COLOURS[line], edgecolor=INK, linewidth=0.6, hatch=HATCHES[line],
            label=table.columns[at].title,
        )  # fmt: skip
    axes.set_yticks(range(len(table.rows)), [_short(row.title) for row in table.rows])
    axes.set_ylim(len(table.rows) - 0.5, -0.5)
    axes.set_xlim(0, max(1.0, axes.get_xlim()[1]))
    axes.set_xlabel(table.measure)
    axes.grid(visible=True, axis="x")
    axes.set_axisbelow(True)
    if len(drawn) > 1:
        figure.legend(loc="upper center", ncols=len(drawn), frameon=False)
    return figure


def picture_of(table: Table) -> str:
    """The picture as SVG for a page; '' where there is nothing to draw."""
    if table.is_empty or not table.rows:
        return ""
    titles = [column.title for column in table.columns if column.key in table.drawn]
    said = [
        f"{row.title}: {cell.words}"
        for row in table.rows
        for column, cell in zip(table.columns, row.cells, strict=True)
        if column.key == table.drawn[0] and cell.jobs
    ]
    words = _("{columns}, {measure}. {rows}.").format(
        columns=", ".join(titles), measure=table.measure, rows="; ".join(said)
    )
    return svg_for_page(bars_figure(table), prefix=f"figure-{table.key}", title=table.title, description=words)


def _short(title: str) -> str:
    return title if len(title) <= LONGEST else f"{title[: LONGEST - 1]}…"
