"""The lives of the invented cars as plain values: what `life` makes and `writer` books."""

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any


@dataclass(frozen=True, slots=True)
class CheckRecord:
    """An entry of a bench sheet; `observation` in the words of a case file."""

    at: datetime
    observation: dict[str, Any]


@dataclass(frozen=True, slots=True)
class WorkRecord:
    """Work on a position; `mode`: the fault that it took away; `part`: number of the unit that was fitted, empty where
    nothing was replaced."""

    at: datetime
    position: str
    kind: str
    mode: str
    words: str
    part: str = ""
    revision: str = ""


@dataclass(frozen=True, slots=True)
class SheetRecord:
    opened_at: datetime
    closed_at: datetime | None
    complaint: dict[str, Any]
    pose: dict[str, str]
    supply_volts: float
    entries: tuple[CheckRecord | WorkRecord, ...]

    @property
    def checks(self) -> tuple[CheckRecord, ...]:
        return tuple(entry for entry in self.entries if isinstance(entry, CheckRecord))

    @property
    def work(self) -> tuple[WorkRecord, ...]:
        return tuple(entry for entry in self.entries if isinstance(entry, WorkRecord))


@dataclass(frozen=True, slots=True)
class JobRecord:
    """`kind`: fault | service | inspection. `stages`: when the job came to each stage, in order, the last one being
    today's."""

    kind: str
    title: str
    complaint: str
    opened_at: datetime
    stages: tuple[tuple[str, datetime], ...]
    hold: str
    hold_note: str
    km: int
    sheet: SheetRecord | None
    promised_on: date | None = None
    note: str = ""

    @property
    def stage(self) -> str:
        return self.stages[-1][0]

    @property
    def finished_at(self) -> datetime | None:
        return next((at for stage, at in self.stages if stage in ("done", "gone")), None)


@dataclass(frozen=True, slots=True)
class FailureRecord:
    """A fault that happened, in truth: at what age of the unit (years), and whether the unit was the original one."""

    position: str
    mode: str
    age: float
    original: bool
    happened_on: date


@dataclass(slots=True)
class CarRecord:
    """A car and all that happened to it. `system` empty: nobody has declared its top system yet."""

    vin: str
    plate: str
    maker: str
    model: str
    made_on: date
    climate: str
    system: str
    owner: int
    jobs: list[JobRecord] = field(default_factory=list)
    failures: list[FailureRecord] = field(default_factory=list)
