"""Everything that a certificate says, as frozen values: what is stored, drawn on paper and shown on the page.

The contents follow ISO/IEC 17020:2012, 7.4.2, and the optional list of its annex B. Nothing is computed while
drawing: what stands here is what is said. Times are aware; volts, seconds and kilometres carry their unit in the
field's name.
"""

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from decimal import Decimal
from hashlib import sha256
from typing import Literal

from pydantic import TypeAdapter, ValidationError

from reports.document.decide import Outcome
from reports.document.languages import ENGLISH

Weight = Literal["critical", "major", "minor", "put-right"]
Statement = Literal["pass", "conditional pass", "conditional fail", "fail", "none"]
Area = Literal["electrical", "motion", "hydraulics", "seals", "mechanism", "whole"]
InstrumentKind = Literal["", "multimeter", "stopwatch", "pressure-gauge", "thermometer"]
StepState = Literal["ended", "stopped", "not-reached"]
FORMAT: Literal["topwright-certificate/1"] = "topwright-certificate/1"


@dataclass(frozen=True, slots=True)
class Issuer:
    name: str
    address: str
    phone: str = ""
    email: str = ""


@dataclass(frozen=True, slots=True)
class Item:
    """The car and its top system. `system_revision` None: a system that nobody has declared yet."""

    vin: str
    maker: str
    model: str
    made_on: date
    system: str = ""
    system_title: str = ""
    system_revision: int | None = None
    odometer_km: int | None = None
    odometer_on: date | None = None
    year_only: bool = False
    """Nobody knows the month of `made_on`."""


@dataclass(frozen=True, slots=True)
class Person:
    name: str
    role: str


@dataclass(frozen=True, slots=True)
class Instrument:
    """What was measured with. `calibrated_on` None: no calibration is claimed. `kind` '': which one was not recorded.

    `calibrated_on` to `valid_until`, both included, and `certificate` of `laboratory` are those of the calibration that
    counted; `not_valid_on`: the days of inspection on which no calibration was valid; `earlier`: on the first days it
    was one before that.
    """

    name: str
    serial: str = ""
    calibrated_on: date | None = None
    kind: InstrumentKind = ""
    valid_until: date | None = None
    certificate: str = ""
    laboratory: str = ""
    not_valid_on: tuple[date, ...] = ()
    earlier: bool = False

    @property
    def valid(self) -> bool:
        """Whether a calibration was valid on every day of inspection."""
        return self.calibrated_on is not None and not self.not_valid_on


@dataclass(frozen=True, slots=True)
class ProofRow:
    """Whether a sensor was seen made and released at the module's pin since the last work on its path."""

    position: str
    name: str
    pin: str
    made: bool
    released: bool
    reworked: bool = False


@dataclass(frozen=True, slots=True)
class PinReading:
    """One reading that counted. `reads`: the state in words; `verdict`: ok | finding | note."""

    position: str
    pin: str
    situation: str
    volts: float
    supply_volts: float | None
    reads: str
    verdict: str
    words: str
    at: datetime
    by: str
    after_work: bool = False


@dataclass(frozen=True, slots=True)
class LimitCheck:
    """A measured value decided against an upper limit. `unit`: `share of supply` or `s`. `uncertainty_from`: what the
    uncertainty rests on, in words; '' where it is what the decision rule takes for any instrument."""

    position: str
    subject: str
    value: float
    limit: float
    uncertainty: float
    unit: str
    outcome: Outcome
    uncertainty_from: str = ""


@dataclass(frozen=True, slots=True)
class Hold:
    """A pressure hold. `usual_loss_bar`: what a sound one may lose in that time; `least_leak_ml_min`: by calculation, a
    lower bound; None where it says nothing."""

    position: str
    name: str
    bar_start: float
    bar_end: float
    seconds: float
    usual_loss_bar: float
    verdict: str
    words: str
    at: datetime
    by: str
    oil_c: float | None = None
    least_leak_ml_min: float | None = None
    after_work: bool = False


@dataclass(frozen=True, slots=True)
class StepTime:
    """`seconds` None: no time was taken of this step, or it did not end. `outcome` None: nothing measured."""

    title: str
    state: StepState
    seconds: float | None
    usual: tuple[float, float]
    limit: float
    outcome: Outcome | None = None


@dataclass(frozen=True, slots=True)
class MotionTrial:
    """One trial of a whole motion. `stopped_at` is the title of the step that did not start or end; '' where it ran.
    `oil_c`: temperature of the hydraulic fluid in °C, where it was noted."""

    motion: str
    title: str
    ran: bool
    stopped_at: str
    lamp: str
    at: datetime
    by: str
    steps: tuple[StepTime, ...]
    oil_c: float | None = None


@dataclass(frozen=True, slots=True)
class MotionLane:
    """What a part of the top does over a motion. `places` from the lowest level up; `stands`: which of them, before the
    first step and after each."""

    name: str
    places: tuple[str, ...]
    stands: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class MotionBar:
    """Whether the pin of a sensor is due to show made: at rest, during the first step, at rest, and so on to the end.
    `ends`: numbers, from 1, of the steps whose end it reports."""

    position: str
    name: str
    made: tuple[bool, ...]
    ends: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class MotionPicture:
    """A motion as it is declared, for the displacement-step diagram; `stopped_at`: number of the step, from 1, at which
    the last trial stopped."""

    motion: str
    title: str
    steps: tuple[str, ...]
    lanes: tuple[MotionLane, ...]
    bars: tuple[MotionBar, ...]
    stopped_at: int | None = None


@dataclass(frozen=True, slots=True)
class Observed:
    """A check that is neither a pin reading, a motion trial nor a pressure hold: look, click, wiggle, ohm reading,
    battery.

    `verdict`: ok | finding | note.
    """

    area: Area
    position: str
    name: str
    words: str
    verdict: str
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class Finding:
    """Something found, in plain words, with the rule that gave its weight. `subject`: position or motion by name."""

    weight: Weight
    position: str
    subject: str
    words: str
    rule: str


@dataclass(frozen=True, slots=True)
class WorkDone:
    """`evidence`: what was seen afterwards at that position, one sentence each; empty: nothing."""

    position: str
    name: str
    kind: str
    words: str
    at: datetime
    by: str
    old_part: str = ""
    new_part: str = ""
    evidence: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NotTested:
    area: Area
    what: str
    why: str


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture on the certificate. `digest`: SHA-256, in hex, of the picture as the shop keeps it; `moment`: before or
    after the work, or '' where that was not said."""

    digest: str
    caption: str
    position: str
    moment: Literal["", "before", "after"]
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class PlanRow:
    """An item of the inspection plan and how it ended. `wants`: the evidence that it asks for; `words`: what was seen,
    or why it was skipped; `weighty`: without it no statement of conformity is made; `weight`: of a finding that a
    person judged; `picture`: digest of the one that shows it, or ''."""

    key: str
    area: Area
    title: str
    wants: str
    weighty: bool
    state: Literal["done", "finding", "skipped"]
    words: str
    at: datetime | None = None
    by: str = ""
    weight: Weight | None = None
    picture: str = ""


@dataclass(frozen=True, slots=True)
class Results:
    """`plan`: the inspection plan, item by item; empty where the job was no inspection by plan."""

    proof: tuple[ProofRow, ...] = ()
    readings: tuple[PinReading, ...] = ()
    limits: tuple[LimitCheck, ...] = ()
    trials: tuple[MotionTrial, ...] = ()
    observed: tuple[Observed, ...] = ()
    findings: tuple[Finding, ...] = ()
    work: tuple[WorkDone, ...] = ()
    not_tested: tuple[NotTested, ...] = ()
    struck_out: int = 0
    holds: tuple[Hold, ...] = ()
    pictured: tuple[MotionPicture, ...] = ()
    plan: tuple[PlanRow, ...] = ()

    def open_findings(self) -> tuple[Finding, ...]:
        return tuple(found for found in self.findings if found.weight != "put-right")


@dataclass(frozen=True, slots=True)
class Overall:
    """The statement of conformity, why, and the rule that gave it (`none`: too little was tested to state one)."""

    statement: Statement
    words: str
    rule: str


@dataclass(frozen=True, slots=True)
class Expected:
    """The chance that a unit fails within so many `months`, and the interval in which it lies with 90 %; shares."""

    months: int
    chance: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class AheadRow:
    """A position: `expected` () where too few `cars` with such a unit were seen here to say anything; `made`: the
    production range that the car falls in, in a sentence, or ''. `curve`: of the likeliest, month by month."""

    position: str
    name: str
    expected: tuple[Expected, ...]
    cars: int
    made: str = ""
    curve: tuple[Expected, ...] = ()


@dataclass(frozen=True, slots=True)
class Ahead:
    """What may fail next, as of a day, learned on `learned_on`; the likeliest first."""

    as_of: date
    learned_on: date
    rows: tuple[AheadRow, ...]


PriceFrom = Literal["", "asked", "paid"]


@dataclass(frozen=True, slots=True)
class PutRightRow:
    """A repair and the chance that it is needed; `labour` and `part_price` (of one piece) without tax. `price_from`:
    what a customer was asked last, or only what the shop pays; None and '' where no price is known."""

    position: str
    words: str
    chance: float
    hours: Decimal
    labour: Decimal
    part: str = ""
    part_price: Decimal | None = None
    price_from: PriceFrom = ""


@dataclass(frozen=True, slots=True)
class PutRight:
    """What it would cost to put right what was found, by the shop's prices of a day. With tax: `least` if only what is
    likelier than not has to be done, `most` if all rows have. `unpriced`: findings for which no repair stands here."""

    as_of: date
    currency: str
    hourly_rate: Decimal
    tax_percent: Decimal
    rows: tuple[PutRightRow, ...]
    least: Decimal
    most: Decimal
    unpriced: tuple[str, ...] = ()

    @property
    def without_price(self) -> tuple[PutRightRow, ...]:
        """Rows whose part is in neither sum."""
        return tuple(row for row in self.rows if row.part and row.part_price is None)


@dataclass(frozen=True, slots=True)
class Certificate:
    """A whole certificate.

    `statements`: what holds for every certificate (only this car, no copying in part, no roadworthiness certificate).
    `replaces`: the number of the earlier certificate that it replaces, or ''. `client` and `ambient` '' where not
    recorded. `outlook`: what the first page says of `ahead`, which is None where nothing was learned of such tops.
    `language`: code of the language that all sentences are in (reports.document.languages); what people entered and
    what a top system declares stays as it is.
    """

    number: str
    issued_at: datetime
    issuer: Issuer
    client: str
    job: str
    item: Item
    inspected_on: tuple[date, ...]
    place: str
    ambient: str
    purpose: str
    method: str
    instruments: tuple[Instrument, ...]
    results: Results
    overall: Overall
    decision_rule: str
    cautions: tuple[str, ...]
    statements: tuple[str, ...]
    client_information: tuple[str, ...]
    outlook: str
    inspectors: tuple[Person, ...]
    approved_by: Person
    replaces: str = ""
    ahead: Ahead | None = None
    pictures: tuple[Shown, ...] = ()
    put_right: PutRight | None = None
    language: str = ENGLISH
    format: Literal["topwright-certificate/1"] = FORMAT


class ContentError(ValueError):
    """Stored content that is not a certificate: where, and what was expected."""


_adapter = TypeAdapter(Certificate)


def to_json(content: Certificate) -> str:
    return _adapter.dump_json(content).decode()


def from_json(text: str) -> Certificate:
    """The content that `to_json` wrote, equal to it. Raises ContentError."""
    try:
        return _adapter.validate_json(text)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "the certificate"
        raise ContentError(f"{where}: {first['msg']}") from error


def fingerprint(content: Certificate, replaces: str) -> str:
    """SHA-256 (hex) of what is certified: the same for whoever asks and whenever, as long as nothing has changed.

    Number, time of issue, approval, and what changes from day to day, the outlook and prices, are left out. `replaces`
    (the earlier number or '') is counted, so that going back to an earlier state of things still is a new certificate.
    The language is counted, since it is part of what was issued and signed: the same findings in another language are a
    new certificate that replaces the earlier one, so that never two stand which could be read differently. English is
    not written out, so that what was issued before there were languages keeps its fingerprint.
    """
    nobody = Person("", "")
    bare = replace(
        content,
        number="",
        issued_at=datetime(2000, 1, 1, tzinfo=UTC),
        approved_by=nobody,
        outlook="",
        ahead=None,
        put_right=None,
    )
    left_out = {"language"} if content.language == ENGLISH else None
    told = _adapter.dump_json(replace(bare, replaces=replaces), exclude=left_out)
    return sha256(told).hexdigest()
