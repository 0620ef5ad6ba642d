"""What stands on the papers for the bench: the bench list of a car, and the pin card of a module. Frozen, without
Django."""

from dataclasses import dataclass
from datetime import datetime

from diagnostics.engine.bench_list import BenchList
from diagnostics.engine.system.model import TopSystem


@dataclass(frozen=True, slots=True)
class BenchPaper:
    """`car` in words; `vin` whole, as the paper stays in the shop; `supply`: volts that the limits go by."""

    shop: str
    car: str
    vin: str
    job: str
    system: str
    supply: float
    printed_at: datetime
    work: BenchList


@dataclass(frozen=True, slots=True)
class PinCard:
    """`sha256`: digest of the published file, so that a card can be told from one of another revision."""

    shop: str
    system: TopSystem
    sha256: str
    printed_at: datetime
