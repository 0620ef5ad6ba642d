"""What stands on the paper of a top system's failure patterns. Frozen, without Django."""

from dataclasses import dataclass
from datetime import datetime

from diagnostics.charts.strip import Strip
from diagnostics.learning.records import Curve


@dataclass(frozen=True, slots=True)
class RangeOnPaper:
    """`title`: part and mode; `state`: proposed or confirmed, with who decided and why; `sentences` as on the page;
    `facts`: name and value; `years`: year and whether it lies inside, units seen, failed, expected, share failed, in
    words; `curves` inside and outside."""

    title: str
    state: str
    sentences: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    years: tuple[tuple[str, ...], ...]
    curves: tuple[Curve, ...]


@dataclass(frozen=True, slots=True)
class RangesPaper:
    """`learned`: when, from how much; '' where nothing was learned yet. `strip` without rows: nothing was seen."""

    shop: str
    system: str
    slug: str
    learned: str
    learned_short: str
    cautions: tuple[str, ...]
    ranges: tuple[RangeOnPaper, ...]
    strip: Strip
    printed_at: datetime
