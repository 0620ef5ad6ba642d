"""Names of sensors in bands above and below a picture, each tied to its dot by a thin line; no two ever overlap."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from diagnostics.engine.drawing.marks import Label, fitted, sign_path, state_words
from diagnostics.engine.words import _

ROW = 17.0
BOX = 47.0
GAP = 2.0
DOT = 3.2


@dataclass(frozen=True, slots=True)
class Callout:
    """A sensor at (x, y) and its label at (label_x, label_y), the middle of its box.

    `state` is what it gives in the pose, `reported` what was read or ''; `sign` made | released | place; `differs`
    where both do not agree.
    """

    code: str
    name: str
    state: str
    reported: str
    sign: str
    differs: bool
    x: float
    y: float
    label_x: float = 0.0
    label_y: float = 0.0

    @property
    def left(self) -> float:
        return self.label_x - BOX / 2

    @property
    def label(self) -> Label:
        return fitted(self.left + 13.5, self.label_y + 4, self.code, BOX - 17, 14, look="tag-code")

    @property
    def box(self) -> float:
        return BOX

    @property
    def words(self) -> str:
        if not self.differs:
            return state_words(self.state)
        words = _("read {state}, should be {due}")
        return words.format(state=state_words(self.reported), due=state_words(self.state))

    @property
    def dot(self) -> str:
        return sign_path(self.sign, self.x, self.y, DOT)

    @property
    def sign_at_label(self) -> str:
        sign = "differs" if self.differs else self.sign
        return sign_path(sign, self.label_x - BOX / 2 + 6.5, self.label_y, 3.4)

    @property
    def tie(self) -> tuple[float, float]:
        """Where the line from the dot meets the label's edge."""
        edge = ROW / 2 - 1.5
        return self.label_x, self.label_y + (edge if self.label_y < self.y else -edge)


@dataclass(frozen=True, slots=True)
class Bands:
    """`above`, `below`: heights of the bands; the picture between them begins at y = `above`."""

    above: float
    below: float
    callouts: tuple[Callout, ...]


def placed(dots: Iterable[Callout], width: float, height: float) -> Bands:
    """Labels for `dots` of a picture `width` by `height`: the higher half goes above, the lower half below."""
    ordered = sorted(dots, key=lambda one: (one.y, one.x))
    half = (len(ordered) + 1) // 2
    per_row = int(width // (BOX + GAP))
    upper = _rows(ordered[:half], width, per_row)
    lower = _rows(ordered[half:], width, per_row)
    above, below = len(upper) * ROW, len(lower) * ROW
    labels: list[Callout] = []
    for index, row in enumerate(upper):
        labels += [_put(one, x, (index + 0.5) * ROW, above) for one, x in row]
    for index, row in enumerate(lower):
        labels += [_put(one, x, above + height + (index + 0.5) * ROW, above) for one, x in row]
    return Bands(above, below, tuple(sorted(labels, key=lambda one: one.code)))


def _put(one: Callout, x: float, y: float, lowered: float) -> Callout:
    return replace(one, y=one.y + lowered, label_x=x, label_y=y)


def _rows(dots: list[Callout], width: float, per_row: int) -> list[list[tuple[Callout, float]]]:
    """Labels by row, from left to right as their dots stand, each as near above its dot as its neighbours allow."""
    by_x = sorted(dots, key=lambda one: one.x)
    count = -(-len(by_x) // per_row)
    return [_spread(by_x[row::count], width) for row in range(count)]


def _spread(dots: list[Callout], width: float) -> list[tuple[Callout, float]]:
    step = BOX + GAP
    xs: list[float] = []
    for index, one in enumerate(dots):
        least = xs[-1] + step if xs else step / 2
        most = width - step / 2 - step * (len(dots) - 1 - index)
        xs.append(min(max(one.x, least), most))
    return list(zip(dots, xs, strict=True))
