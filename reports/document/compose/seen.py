"""What a certificate is composed from: the checks that count and the work done, as plain values."""

from dataclasses import dataclass
from datetime import datetime

from diagnostics.engine.case import Look, MotionTrial, Observation, PinByHand, PinReading
from diagnostics.engine.motion import MADE, RELEASED, pin_state, pose_of
from diagnostics.engine.proof import proof_of
from diagnostics.engine.results import Judgement, ProofState
from diagnostics.engine.signals import read_pin
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import at_pin, path_of
from diagnostics.engine.words import _
from reports.document.decide import Meter


@dataclass(frozen=True, slots=True)
class Seen:
    """One check that was not struck out, with what was judged at once."""

    observation: Observation
    judgement: Judgement
    at: datetime
    by: str

    @property
    def position(self) -> str:
        return getattr(self.observation, "position", "")

    @property
    def good(self) -> bool:
        """In order. A motion that ran is (how long its steps took is another matter); a look that shows nothing is."""
        if isinstance(self.observation, MotionTrial):
            return self.observation.stops_at is None
        if isinstance(self.observation, Look):
            return self.observation.found == "nothing"
        return self.judgement.verdict == "ok"

    @property
    def finding(self) -> bool:
        """Something is wrong, or was noted by eye."""
        if isinstance(self.observation, Look):
            return self.observation.found != "nothing"
        return self.judgement.verdict == "finding" and not self.good


@dataclass(frozen=True, slots=True)
class Worked:
    """Work on a position. Parts as number and revision."""

    position: str
    kind_words: str
    words: str
    at: datetime
    by: str
    old_part: str = ""
    new_part: str = ""


@dataclass(frozen=True, slots=True)
class Evidence:
    """Everything that speaks of one job, in order of time. Refused checks are no evidence and are left out here.
    `meter`: what the voltages were read with, where somebody said so."""

    system: TopSystem
    seen: tuple[Seen, ...]
    work: tuple[Worked, ...] = ()
    meter: Meter | None = None

    def last_work(self, position: str) -> Worked | None:
        return next((one for one in reversed(self.work) if one.position == position), None)

    def reworked(self, one: Seen) -> bool:
        """Whether `one` was seen after work on its path (a motion: after any work)."""
        work = self._work_before(one)
        return work is not None and one.at > work.at

    def stands(self, one: Seen) -> bool:
        """Whether `one` still tells of the top as it is: no work on its path (a motion: none at all) came after it."""
        work = self._work_before(one)
        return work is None or one.at > work.at

    def current(self, position: str) -> tuple[Seen, ...]:
        """The checks of a position that still count: all, or those after the last work on its path."""
        return tuple(one for one in self.seen if one.position == position and self.stands(one))

    def proof(self) -> dict[str, ProofState]:
        """Sensor -> seen made, seen released, by what was seen after the last work on its path."""
        return proof_of(self.system, [one.observation for one in self.seen if self.stands(one)])

    def _work_before(self, one: Seen) -> Worked | None:
        return self._overtaking(one.position) if one.position else (self.work[-1] if self.work else None)

    def _overtaking(self, position: str) -> Worked | None:
        """The last work on the path of a position: two switches in series on one pin share it."""
        path = path_of(self.system, position) if position in self.system.positions else (position,)
        return next((one for one in reversed(self.work) if one.position in path), None)

    def trials(self) -> tuple[Seen, ...]:
        """The trials after the last work: a motion depends on every path, so work overtakes it."""
        return tuple(one for one in self.seen if isinstance(one.observation, MotionTrial) and self.stands(one))

    def last_trials(self) -> dict[str, Seen]:
        """The latest of `trials` of each motion."""
        return {s.observation.motion: s for s in self.trials() if isinstance(s.observation, MotionTrial)}

    def name(self, position: str) -> str:
        known = self.system.positions.get(position)
        return known.name if known else ""

    def title(self, position: str) -> str:
        return f"{position} {self.name(position)}".strip()


def plain_words(one: Seen) -> str:
    """What was seen, for a reader who knows nothing of suspects."""
    if isinstance(one.observation, Look) and one.judgement.verdict == "note" and one.finding:
        return _("Noted by eye: {found}.").format(found=one.observation.found.rstrip("."))
    return one.judgement.words


def weak(evidence: Evidence, one: Seen) -> bool:
    """Whether `one` is a finding only for the voltage that the closed contact leaves: its state is the right one."""
    seen = one.observation
    position = evidence.system.positions.get(one.position)
    if position is None or one.judgement.reads != MADE:
        return False
    if isinstance(seen, PinReading):
        return pin_state(evidence.system, one.position, pose_of(evidence.system, seen.pose)) == MADE
    if isinstance(seen, PinByHand) and seen.supply_volts:
        first = evidence.system.positions[at_pin(evidence.system, one.position)]
        return read_pin(evidence.system, first, seen.released_volts / seen.supply_volts) == RELEASED
    return False


def situation_key(one: Seen) -> tuple[str, str, str]:
    """What must be the same for a later check to speak about an earlier one: the kind, the position, the situation."""
    seen = one.observation
    if isinstance(seen, PinReading):
        return seen.check, seen.position, str(seen.pose)
    if isinstance(seen, MotionTrial):
        return seen.check, "", seen.motion
    return seen.check, one.position, ""
