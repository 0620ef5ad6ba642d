"""What figures are made of, and what they come to. Times are those of the shop's zone."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal

from diagnostics.learning.records import first_day, month_of

COMEBACK_DAYS = 90
"""A car that is here again within so many days after a job was done may have come back (the shop's own measure)."""
MONTHS_MOST = 36
"""Of a span: what still fits a page and a picture."""


@dataclass(frozen=True, slots=True)
class Span:
    """Months from `first` to `last`, both included (as counted in learning.records)."""

    first: int
    last: int

    def months(self) -> range:
        return range(self.first, self.last + 1)

    def has(self, day: date) -> bool:
        return self.first <= month_of(day) <= self.last

    @property
    def begins(self) -> date:
        return first_day(self.first)

    @property
    def ends(self) -> date:
        """The day after its last one."""
        return first_day(self.last + 1)


@dataclass(frozen=True, slots=True)
class Hit:
    """How the suspects stood on the day the work was begun: `place` of what was found among them (1: the first one, 0:
    not among them), `brier`: the sum over all suspects of (probability - found)²."""

    on: date
    place: int
    brier: float


@dataclass(frozen=True, slots=True)
class JobFacts:
    """One job. `sold`: hours of labour that the customer approved, None without any; `planned` minutes of its plan and
    `worked` seconds at its clocks, None without."""

    pk: int
    car: int
    system: str
    opened: datetime
    finished: datetime | None = None
    comeback_of: int | None = None
    cause: str = ""
    judged: bool = False
    sold: Decimal | None = None
    planned: int | None = None
    worked: float | None = None
    hit: Hit | None = None


@dataclass(frozen=True, slots=True)
class Move:
    """A job came to a stage, or (`hold`) something began to hold it."""

    job: int
    at: datetime
    became: str
    hold: bool = False


@dataclass(frozen=True, slots=True)
class Shift:
    """One person at one job's clock for some seconds."""

    job: int
    person: str
    on: date
    seconds: float


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything that figures of a span ask for. `systems`, `stages`, `holds`, `causes`: key -> name for people."""

    span: Span
    now: datetime
    jobs: tuple[JobFacts, ...] = ()
    moves: tuple[Move, ...] = ()
    shifts: tuple[Shift, ...] = ()
    systems: dict[str, str] = field(default_factory=dict)
    stages: dict[str, str] = field(default_factory=dict)
    holds: dict[str, str] = field(default_factory=dict)
    causes: dict[str, str] = field(default_factory=dict)

    def system_of(self) -> dict[int, str]:
        return {job.pk: job.system for job in self.jobs}

    def finished(self) -> Iterator[tuple[JobFacts, date]]:
        """The jobs that were done within the span, with the day."""
        for job in self.jobs:
            if job.finished is not None and self.span.has(job.finished.date()):
                yield job, job.finished.date()

    def is_old_enough(self, job: JobFacts) -> bool:
        """Whether a comeback would have shown by now."""
        return job.finished is not None and job.finished <= self.now - timedelta(days=COMEBACK_DAYS)


@dataclass(frozen=True, slots=True)
class Cell:
    """`words` as they stand in the table, `value` as it is drawn, `jobs` that it counts."""

    words: str
    value: float | None = None
    jobs: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Column:
    key: str
    title: str


@dataclass(frozen=True, slots=True)
class Row:
    key: str
    title: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """One figure. `lead`: how it is counted; `notes`: what it does not know; `needs`: what must be recorded for it to
    appear; `total`: over all rows; `drawn`: the keys of the columns that its picture shows, and their measure."""

    key: str
    title: str
    by: str
    lead: str
    needs: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    total: Row
    notes: tuple[str, ...]
    drawn: tuple[str, ...]
    measure: str

    @property
    def is_empty(self) -> bool:
        return not any(cell.jobs for cell in self.total.cells)

    def cell(self, row: str, column: str) -> tuple[Row, Column, Cell] | None:
        """None where the table has no such row or column."""
        for one in (*self.rows, self.total):
            for head, cell in zip(self.columns, one.cells, strict=True):
                if (one.key, head.key) == (row, column):
                    return one, head, cell
        return None
