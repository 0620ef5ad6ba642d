"""What the engine answers, as frozen values."""

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """A position and a mode. `input`: for a fault of one input of the module, the sensor that is read there."""

    position: str
    mode: str
    input: str = ""


@dataclass(frozen=True, slots=True)
class Judgement:
    """What one entry says by itself, at once.

    `verdict`: ok | finding | refused | note. `reads`: made | released | between | a place | '' where there is no
    state. `contact_ohm`: contact resistance behind the pull-up, where it can be computed. `words`: the sentence for
    people.
    """

    verdict: str
    words: str
    reads: str = ""
    share: float | None = None
    contact_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class Reason:
    """An observation (its index in the case; -1 the complaint, -2 recent work) with its log-likelihood ratio (nats)."""

    observation: int
    llr: float
    words: str


@dataclass(frozen=True, slots=True)
class Suspect:
    fault: Fault
    probability: float
    words: str
    reasons_for: tuple[Reason, ...] = ()
    reasons_against: tuple[Reason, ...] = ()


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """`minimal`: it explains every observation without calling one an error, and no part of it does."""

    faults: tuple[Fault, ...]
    probability: float
    minimal: bool = False


@dataclass(frozen=True, slots=True)
class NextCheck:
    """A check that could be made next. `pose` a pose name or {axis: place} where it needs one, else None. `ahead_bits`
    and `ahead_minutes`: of this check with the best one after it, where looking ahead may pay; else of it alone."""

    check: str
    position: str
    pose: str | dict[str, str] | None
    motion: str | None
    minutes: float
    bits: float
    bits_per_minute: float
    why: str
    caution: str
    ahead_bits: float = 0.0
    ahead_minutes: float = 0.0


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two entries that cannot both be right (indices of the case's observations), and which of them to make again."""

    entries: tuple[int, int]
    repeat: int
    words: str


@dataclass(frozen=True, slots=True)
class Surprise:
    """The entry that fits the others least (index; -1 the complaint) and its probability given all of them."""

    entry: int
    probability: float
    words: str


@dataclass(frozen=True, slots=True)
class RepairStep:
    """`repair`: a repair's name; `probability` that it is needed; `minutes` to make it."""

    repair: str
    words: str
    probability: float
    minutes: float


@dataclass(frozen=True, slots=True)
class Ways:
    """Two ways to a proven fix with the minutes that each is expected to take: repairs tried in order, or checks
    first. Empty `words`: there is nothing to choose."""

    repair_first: tuple[RepairStep, ...] = ()
    repair_first_minutes: float = 0.0
    check_first_minutes: float = 0.0
    words: str = ""


@dataclass(frozen=True, slots=True)
class ProofState:
    made: bool
    released: bool

    @property
    def proven(self) -> bool:
        return self.made and self.released


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """`judgements` has one entry an observation, in order. `evidence_log10`: log10 of the probability of all
    evidence. `left_out`: chance, before anything was seen, of more faults than were asked for. `unweighed`: the most
    that sets can weigh which were left out because the system is too large for them; 0 where every set was weighed."""

    suspects: tuple[Suspect, ...]
    hypotheses: tuple[Hypothesis, ...]
    nothing_wrong: float
    next_checks: tuple[NextCheck, ...]
    proof: dict[str, ProofState]
    judgements: tuple[Judgement, ...]
    warnings: tuple[str, ...]
    evidence_log10: float
    left_out: float = 0.0
    unweighed: float = 0.0
    repairs: dict[str, float] = field(default_factory=dict)
    conflicts: tuple[Conflict, ...] = ()
    surprise: Surprise | None = None
    ways: Ways = field(default_factory=Ways)

    @property
    def all_warnings(self) -> tuple[str, ...]:
        """Every sentence that a person should read before trusting the suspects, conflicts and surprise with them."""
        surprise = (self.surprise.words,) if self.surprise is not None else ()
        return (*(conflict.words for conflict in self.conflicts), *surprise, *self.warnings)
