"""Simulated cars with known faults.

A car comes with what its customer tells (and mixes up as customers do). Its checks are made on the simulated bench,
which runs poses step by step and knows nothing of the inference, with people's slips added. Work divides its entries as
it divides those of a job.
"""

import random
from collections.abc import Mapping, Sequence
from typing import Any

from diagnostics.engine import observe
from diagnostics.engine.case import Case, checks_of, parse_case
from diagnostics.engine.faults import default_prior, faults_of, repair_of
from diagnostics.engine.motion import pose_of
from diagnostics.engine.offers import Offer
from diagnostics.engine.poses import Pose
from diagnostics.engine.results import Fault
from diagnostics.engine.simulate import Bench
from diagnostics.engine.system.model import TopSystem

Car = tuple[tuple[Fault, ...], int]
"""The true faults of a car and the number that its chances are drawn with."""


class SimulatedCar:
    """A car with its true faults on the bench, and the case as it grows. `minutes`: all spent on it, `searching`: of
    these, those that went into checks before the work that they led to."""

    def __init__(self, system: TopSystem, faults: Sequence[Fault], seed: int) -> None:
        self.system = system
        self.rng = random.Random(seed)  # noqa: S311 - a simulation must be repeatable
        self.bench = Bench(system, faults, self.rng)
        self.entries: list[dict[str, Any]] = []
        self.works: list[tuple[int, str]] = []
        self.complaint = self._complaint()
        self.minutes = 0.0
        self.searching = 0.0

    def _complaint(self) -> dict[str, Any] | None:
        told = self.bench.complaint()
        if told is None:
            return None
        names = self.system.step_names(told["motion"])
        at = names.index(told["stops_at"])
        draw = self.rng.random()
        if draw > observe.COMPLAINT_RIGHT + 2 * observe.COMPLAINT_NEIGHBOUR:
            at = self.rng.randrange(len(names))
        elif draw > observe.COMPLAINT_RIGHT:
            at = min(max(at + self.rng.choice((-1, 1)), 0), len(names) - 1)
        lamp = told["lamp"] if self.rng.random() < observe.LAMP_COMPLAINT else self.rng.choice(("off", "steady"))
        return {"motion": told["motion"], "stops_at": names[at], "lamp": lamp}

    @property
    def motion(self) -> str:
        """The motion complained of."""
        return str(self.complaint["motion"]) if self.complaint else "close"

    def case(self) -> Case:
        """What is known now. Of a position worked on twice, what was seen between is left out; a motion depends on
        every path, so of trials those before all work and those after it count."""
        observations, tried = [], False
        for number, entry in enumerate(self.entries):
            trial = entry["check"] == "motion"
            moments = [at for at, position in self.works if trial or position == entry.get("position", self._supply())]
            passed = sum(at <= number for at in moments)
            if 0 < passed < len(moments):
                continue
            after_work = 0 < passed == len(moments)
            tried |= trial and after_work
            observations.append({**entry, "after_work": after_work})
        return parse_case(
            {
                "system": self.system.system,
                "car": {"made_on": "2012-05"},
                "seen_on": "2024-05-06",
                "complaint": self.complaint,
                "recent_work": list(dict.fromkeys(position for _at, position in self.works)) if tried else [],
                "observations": observations,
            }
        )

    def _supply(self) -> str:
        return next((code for code, position in self.system.positions.items() if position.kind == "supply"), "")

    # Checks and work

    def make(self, offer: Offer, minutes: float) -> None:
        """Make one check on the bench and write down what it showed."""
        self.minutes += minutes
        self.searching += minutes
        if offer.motion is not None:
            self.entries.append(self.bench.try_motion(offer.motion))
        elif offer.check == "battery":
            self.entries.append(self.bench.battery())
        elif offer.check == "pin" and offer.pose is not None:
            self._bring(offer.pose)
            self.entries.append(self._slipped(self.bench.read, offer.position, observe.PIN_SLIP))
        elif offer.check == "pin-by-hand":
            self.entries.append(self._slipped(self.bench.by_hand, offer.position, observe.BY_HAND_SLIP))
        else:
            kinds = {
                "click": self.bench.click,
                "wiggle": self.bench.wiggle,
                "continuity": self.bench.continuity,
                "look": self.bench.look,
                "pressure-hold": self.bench.pressure_hold,
            }
            self.entries.append(kinds[offer.check](offer.position))

    def _bring(self, pose: Pose) -> None:
        """By hand where only hand moves are wanted, else by the motion that ends there: a trial by the way."""
        wanted = pose_of(self.system, pose)
        moved = [a for a, axis in self.system.axes.items() if axis.moved == "top" and wanted[a] != self.bench.pose[a]]
        motion = next((name for name, m in self.system.motions.items() if m.end == pose), None)
        if moved and motion is not None and self.system.poses[self.system.motions[motion].start] == self.bench.pose:
            trial = self.bench.try_motion(motion)
            self.entries.append(trial)
            if trial["stops_at"] is not None:
                return
        self.bench.stand(pose)

    def _slipped(self, read: Any, position: str, slip: float) -> dict[str, Any]:
        entry: dict[str, Any] = read(position)
        if self.rng.random() < slip:  # the meter was on another pin
            others = [c for c, p in self.system.sensors().items() if c != position and p.watches is None]
            entry = {**read(self.rng.choice(others)), "position": position}
        return entry

    def repair(self, key: str, minutes: float) -> bool:
        """Make a repair: whatever it mends is gone. Whether that was anything."""
        self.minutes += minutes
        self.works.append((len(self.entries), key.split()[0]))
        mended = [fault for fault in self.bench.faults if repair_of(self.system, fault).key == key]
        self.bench.mend(mended)
        return bool(mended)

    def read_again(self, key: str, minutes: float) -> None:
        """Prove the path of a repair, where a reading can: a switch by hand at the pin, a battery by its volts."""
        code, kind = key.split()
        if kind == "charge":
            self.entries.append(self.bench.battery())
        elif "pin-by-hand" in checks_of(self.system, code) and kind != "adjust":
            self.minutes += minutes
            self.entries.append(self.bench.by_hand(code))

    def runs(self, minutes: Mapping[str, float]) -> bool:
        """Try the motion complained of, and the other if that runs; `minutes` of each. Whether both ran."""
        for motion in sorted(minutes, key=lambda name: name != self.motion):
            self.minutes += minutes[motion]
            self.entries.append(self.bench.try_motion(motion))
            if self.entries[-1]["stops_at"] is not None:
                return False
        return True


def draw_cars(system: TopSystem, n: int, size: int, seed: int) -> list[Car]:
    """`n` cars with `size` faults each, drawn by their priors, of those that a customer would bring: some motion
    stops."""
    rng = random.Random(seed)  # noqa: S311 - a simulation must be repeatable
    faults = faults_of(system)
    weights = [default_prior(system, fault) for fault in faults]
    cars: list[Car] = []
    while len(cars) < n:
        drawn = tuple(sorted(set(rng.choices(faults, weights, k=size))))
        number = rng.randrange(2**32)
        if len(drawn) == size and SimulatedCar(system, drawn, number).complaint is not None:
            cars.append((drawn, number))
    return cars
