"""What a technician does with a car on the bench: a plain, sensible order of checks, the repair, and the proof.

Historic sheets come from here. Nobody computes suspects for them: the technician reads the pins where the top stands,
then looks at what does not fit, as people do. Every value comes from the simulated bench (diagnostics.engine.simulate).
"""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from diagnostics.engine.case import Battery, MotionTrial, checks_of, observation_of
from diagnostics.engine.faults import mode_of, repair_of
from diagnostics.engine.motion import pin_state
from diagnostics.engine.proof import proof_of
from diagnostics.engine.results import Fault
from diagnostics.engine.signals import judge
from diagnostics.engine.simulate import Bench
from reports.demo.records import CheckRecord, WorkRecord

LOOKED_AT = ("cylinder", "pump", "motor", "latch")
"""Kinds of position that a service looks at."""
Fitted = Callable[[str], tuple[str, str]]
"""Position -> number and revision of the part that the shop fits there on that day."""


@dataclass(slots=True)
class Visit:
    """The entries of one visit by phase; `complaint` as in a case file, {} where the top does what it should.

    `mended`: the faults that were found and repaired. One that showed in nothing stays in the car.
    """

    complaint: dict[str, Any] = field(default_factory=dict)
    pose: dict[str, str] = field(default_factory=dict)
    tracing: list[CheckRecord] = field(default_factory=list)
    mending: list[WorkRecord] = field(default_factory=list)
    proving: list[CheckRecord] = field(default_factory=list)
    mended: list[Fault] = field(default_factory=list)


class Watch:
    """Time on the bench: each check takes its minutes, with the unevenness of people."""

    def __init__(self, now: datetime, rng: random.Random) -> None:
        self.now = now
        self.rng = rng

    def after(self, minutes: float) -> datetime:
        self.now += timedelta(seconds=round(60 * minutes * self.rng.uniform(0.7, 1.5)))
        return self.now


def trace(bench: Bench, watch: Watch, complaint: dict[str, Any] | None, *, every_switch: bool) -> Visit:
    """Everything up to the repair. `complaint` as in a case file; None: a service, which tries both motions.

    `every_switch`: an inspection, which sees each switch made and released, by hand where the resting poses do not
    show it, and holds every cylinder and the pump under pressure.
    """
    visit = Visit(complaint=complaint or {})
    add = _adder(visit.tracing, watch)
    add(4, bench.battery())
    if complaint is None:
        for one in ("open", "close"):
            _try(bench, add, one)
            _read_all(bench, add)
        for code, position in bench.system.positions.items():
            if position.kind in LOOKED_AT:
                add(1.5, bench.look(code))
        if every_switch:
            _hold_all(bench, add)
            _press_the_rest(bench, add, visit)
    else:
        _try(bench, add, complaint["motion"])
        _read_all(bench, add)
    for fault in sorted(bench.faults):
        for minutes, observation in _narrow(bench, fault):
            add(minutes, observation)
    visit.pose = dict(bench.pose)
    return visit


def found(bench: Bench, visit: Visit) -> list[Fault]:
    """The faults that the checks so far give away: a finding at the place itself, or a motion that stopped (then
    people dig)."""
    observations = [observation_of(entry.observation) for entry in [*visit.tracing, *visit.proving]]
    findings = [one for one in observations if judge(bench.system, one).verdict == "finding"]
    if any(isinstance(one, MotionTrial) and one.stops_at is not None for one in findings):
        return sorted(bench.faults)
    places = {getattr(one, "position", "") for one in findings}
    battery = any(isinstance(one, Battery) for one in findings)
    return [
        fault
        for fault in sorted(bench.faults)
        if fault.position in places or (battery and bench.system.positions[fault.position].kind == "supply")
    ]


def mend(bench: Bench, watch: Watch, visit: Visit, faults: list[Fault], fitted: Fitted) -> None:
    """The repair of these faults; the bench has them no more."""
    for fault in faults:
        repair = repair_of(bench.system, fault)
        part, revision = fitted(repair.position) if repair.kind == "replace" else ("", "")
        at = watch.after(repair.minutes)
        visit.mending.append(WorkRecord(at, repair.position, repair.kind, fault.mode, repair.words, part, revision))
        visit.mended.append(fault)
    bench.break_down(bench.faults - set(faults))


def prove(bench: Bench, watch: Watch, visit: Visit) -> bool:
    """See each repaired path good again, and both motions whole. False where a motion still stops."""
    add = _adder(visit.proving, watch)
    sensors = bench.system.wired()
    looked_at = {one.observation["position"] for one in visit.tracing if one.observation["check"] == "look"}
    for work in visit.mending:
        position = bench.system.positions[work.position]
        if work.position in sensors and position.watches is None:
            add(3, bench.by_hand(work.position) | {"after_work": True})
        elif position.kind == "supply":
            add(4, bench.battery() | {"after_work": True})
        elif "pressure-hold" in checks_of(bench.system, work.position):
            add(12, bench.pressure_hold(work.position) | {"after_work": True})
        if work.position in looked_at:
            add(1, bench.look(work.position) | {"after_work": True})
    angles = [w.position for w in visit.mending if bench.system.positions[w.position].watches is not None]
    whole = True
    for motion in ("open", "close"):
        bench.stand(bench.system.motions[motion].start)
        trial = bench.try_motion(motion)
        whole &= trial["stops_at"] is None
        add(3, trial | {"after_work": bool(visit.mending)})
        for code in angles:
            add(1, bench.read(code) | {"after_work": True})
    visit.proving += _beside(bench, watch, visit)
    visit.pose = dict(bench.pose)
    return whole


def _beside(bench: Bench, watch: Watch, visit: Visit) -> list[CheckRecord]:
    """What the motions leave open after work: the trigger of an adjusted sensor that a hand moves, in both its states;
    where a motion had stopped the control switches, pressed once, and where nothing was seen of what was mended every
    plug and lead. With dice of their own, so that these readings change nothing of the car's further story."""
    dice = random.Random(len(visit.proving))  # noqa: S311 - a story, no secret
    beside = Bench(bench.system, bench.faults, dice)
    beside.pose = dict(bench.pose)
    found = []
    for code in dict.fromkeys(work.position for work in visit.mending if work.kind == "adjust"):
        found += _both_ways(beside, code) if code in bench.system.wired() else []
    if visit.complaint and visit.mending:
        controls = (code for code, one in bench.system.wired().items() if one.kind == "control-switch")
        found += [beside.by_hand(code) for code in controls]
        if _unseen(visit):
            found += [beside.wiggle(code) for code, one in bench.system.wired().items() if one.watches is None]
    moments = (watch.now + timedelta(seconds=20 * number) for number in range(1, len(found) + 1))
    return [CheckRecord(at, one | {"after_work": True}) for at, one in zip(moments, found, strict=True)]


def _unseen(visit: Visit) -> bool:
    """Whether something was mended at a place where a look had shown nothing."""
    mended = {work.position for work in visit.mending}
    looks = (one.observation for one in visit.tracing if one.observation["check"] == "look")
    return any(one["position"] in mended and one["found"] == "nothing" for one in looks)


def _both_ways(bench: Bench, code: str) -> list[dict[str, Any]]:
    here = dict(bench.pose)
    state = pin_state(bench.system, code, here)
    for name, axis in bench.system.axes.items():
        for place in axis.places if axis.moved == "by_hand" else ():
            other = {**here, name: place}
            if pin_state(bench.system, code, other) != state:
                readings = []
                for pose in (other, here):
                    bench.stand(pose)
                    readings.append(bench.read(code))
                return readings
    return []


def _try(bench: Bench, add: "Add", motion: str) -> None:
    bench.stand(bench.system.motions[motion].start)  # type: ignore[index]
    add(3, bench.try_motion(motion))


def _hold_all(bench: Bench, add: "Add") -> None:
    if any(fault.mode == "dead" and bench.system.positions[fault.position].kind == "pump" for fault in bench.faults):
        return  # nothing builds up pressure
    for code in bench.system.positions:
        if "pressure-hold" in checks_of(bench.system, code):
            add(8, bench.pressure_hold(code))


def _press_the_rest(bench: Bench, add: "Add", visit: Visit) -> None:
    """By hand, every contact that two resting poses did not show in both states."""
    proof = proof_of(bench.system, [observation_of(entry.observation) for entry in visit.tracing])
    for code, state in proof.items():
        if not state.proven and bench.system.positions[code].watches is None:
            add(2, bench.by_hand(code))


Add = Callable[[float, dict[str, Any]], None]


def _adder(entries: list[CheckRecord], watch: Watch) -> Add:
    def add(minutes: float, observation: dict[str, Any]) -> None:
        entries.append(CheckRecord(watch.after(minutes), observation))

    return add


def _read_all(bench: Bench, add: Add) -> None:
    for code in bench.system.sensors():
        add(0.5, bench.read(code))


def _narrow(bench: Bench, fault: Fault) -> Iterator[tuple[float, dict[str, Any]]]:
    """The checks that tell this fault from its neighbours, as minutes and observation."""
    code, where = fault.position, mode_of(bench.system, fault).where
    position = bench.system.positions[code]
    is_contact = position.kind in ("switch", "control-switch")
    if where in ("sensor", "path", "trigger") and position.watches is None:
        yield position.minutes, bench.by_hand(code)
        if is_contact:
            yield 1, bench.click(code)
    if where == "path":
        yield 4, bench.continuity(code)
    if (where in ("unit", "trigger") or fault.mode == "unplugged") and position.kind != "supply":
        yield position.minutes, bench.look(code)
    if fault.mode in ("leaks", "weak") and "pressure-hold" in checks_of(bench.system, code):
        yield 12, bench.pressure_hold(code)
    if fault.mode == "comes-and-goes":
        yield 2, bench.wiggle(code)


def entries_of(visit: Visit) -> tuple[CheckRecord | WorkRecord, ...]:
    """All entries in the order in which they were made."""
    return tuple(sorted([*visit.tracing, *visit.mending, *visit.proving], key=lambda entry: entry.at))
