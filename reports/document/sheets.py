"""What stands on the papers of a job that are no certificate: the estimate, the job sheet, the work report. Frozen,
without Django; money, days and minutes come as the words that the pages show, so that page and paper cannot differ."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

Answered = Literal["", "approved", "declined"]
Standing = Literal["open", "answered", "expired", "replaced", "withdrawn"]


@dataclass(frozen=True, slots=True)
class EstimateRow:
    """`text`: the line word for word as it was sent. `cells`: the same in words, quantity, price, tax and sum; () where
    the line cannot be told apart into what was sent, and then `text` is printed as it is. `answered`: who and when."""

    number: int
    text: str
    cells: tuple[str, ...] = ()
    answer: Answered = ""
    answered: str = ""


@dataclass(frozen=True, slots=True)
class EstimatePaper:
    """An estimate as it was sent. `title` the first line of its text, `head` the lines and words between that and the
    rows, `foot` (name, amount) its sums; `sums` of what was approved, declined and is open, once something was
    answered. `notice`: why it no longer counts, or until when it does."""

    shop: str
    job: str
    title: str
    head: str
    rows: tuple[EstimateRow, ...]
    foot: tuple[tuple[str, str], ...]
    sums: tuple[tuple[str, str], ...]
    standing: Standing
    notice: str
    sent_at: datetime
    printed_at: datetime
