"""What stands on the papers of a job that are no certificate: the estimate, the job sheet, the work report. Frozen,
without Django; money, days and minutes come as the words that the pages show, so that page and paper cannot differ."""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from reports.document.content import Finding, WorkDone

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


@dataclass(frozen=True, slots=True)
class SuspectRow:
    """`share`: the probability in words."""

    words: str
    share: str


@dataclass(frozen=True, slots=True)
class CheckRow:
    """A check that tells most next. `pose`: where the top must stand first, or ''; `minutes` as on the page."""

    what: str
    pose: str
    minutes: str
    why: str


@dataclass(frozen=True, slots=True)
class TaskRow:
    """`time`, `who` and `notes` (bay, what blocks it, its own caution) in words."""

    number: int
    title: str
    time: str
    who: str
    notes: tuple[str, ...]
    caution: str
    state: Literal["open", "done"]


@dataclass(frozen=True, slots=True)
class PickRow:
    """`place`: where it lies; `position`: where it goes; both may be ''. `here`: nothing of it has to be picked."""

    quantity: int
    number: str
    name: str
    place: str
    position: str
    state: str
    here: bool


@dataclass(frozen=True, slots=True)
class JobSheet:
    """What goes to the car. `url`: of the job's page, for the code; `facts` (name, value) of car and job; `checks` what
    to check next, `owed` what still has to be seen after work; both () where the top system is not declared, and
    `no_bench` says why nothing is named."""

    shop: str
    number: str
    title: str
    url: str
    facts: tuple[tuple[str, str], ...]
    vin: str
    complaint: str
    suspects: tuple[SuspectRow, ...]
    checks: tuple[CheckRow, ...]
    owed: tuple[str, ...]
    no_bench: str
    tasks: tuple[TaskRow, ...]
    parts: tuple[PickRow, ...]
    cautions: tuple[str, ...]
    printed_at: datetime


@dataclass(frozen=True, slots=True)
class WorkReport:
    """What a customer is told of a job. `summary`: how it stands, a sentence
    each; `seen`: how much was looked at; findings `put_right` and `found_open`, work `done` with what was seen after
    it; `still_open`: what of the plan is not done and what was declined."""

    shop: str
    contact: str
    number: str
    title: str
    facts: tuple[tuple[str, str], ...]
    vin: str
    complaint: str
    summary: tuple[str, ...]
    seen: tuple[str, ...]
    put_right: tuple[Finding, ...]
    done: tuple[WorkDone, ...]
    found_open: tuple[Finding, ...]
    still_open: tuple[str, ...]
    people: tuple[str, ...]
    by: str
    printed_at: datetime
