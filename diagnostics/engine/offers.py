"""The checks that can still be made on a car as it stands, each with what it costs from here."""

from collections.abc import Iterator
from dataclasses import dataclass

from diagnostics.engine.case import checks_of
from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.motion import due_at, pose_of
from diagnostics.engine.poses import Pose
from diagnostics.engine.sitting import AT_MODULE, AT_POSITION, Sitting, minutes_of, seen_by
from diagnostics.engine.system.series import at_pin, path_of

REPEATS = 0.1
"""A check is made again in the same pose only if its sensor comes and goes with at least this chance …"""
AT_PIN = frozenset({"pin", "pin-by-hand", "wiggle"})
"""… and if it is a reading at the pin: who looks twice sees the same again."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A check that could be made. `moving`: minutes to bring the top there; `minutes`: all that it costs now; `due`:
    what is due at the pin."""

    check: str
    position: str
    minutes: float
    moving: float = 0.0
    pose: Pose | None = None
    motion: str | None = None
    due: str = ""

    @property
    def subject(self) -> str:
        """The position, or the motion's name."""
        return self.motion or self.position

    def later(self, first: "Offer", sitting: Sitting) -> float | None:
        """Minutes of this check right after `first`, `sitting` being how things stand then; None where nobody can say:
        where a trial leaves the top is not known before it."""
        if first.motion is not None and (self.moving or self.pose is not None or self.motion is not None):
            return None
        moving = 0.0 if self.pose is not None and self.pose == first.pose else self.moving + first.moving
        if self.pose is None and self.motion is None:
            moving = 0.0
        return minutes_of(sitting, self.check, self.subject, moving)

    def pays(self, sitting: Sitting) -> bool:
        """Whether it pays a set-up that other checks share: the top moved, the module uncovered, a place opened."""
        at_module, at_position = self.check in AT_MODULE, self.check in AT_POSITION
        return bool(
            self.moving or (at_module and sitting.uncover) or (at_position and sitting.reach(self.position) > 1)
        )


def flickering(model: Compiled, shares: Floats) -> frozenset[str]:
    """Sensors that come and go with some chance: there, and in motions, a repeated check is worth its minutes."""
    return frozenset(
        code
        for fault, share in zip(model.faults, shares, strict=True)
        if fault.mode == "comes-and-goes" and share >= REPEATS
        for code in path_of(model.system, fault.position)
    )


def offers_of(model: Compiled, sitting: Sitting, shares: Floats) -> list[Offer]:
    """Every check not made yet, or worth making again; each once, in a fixed order. `shares` (n,) of the faults."""
    return list(_offers(model, sitting, flickering(model, shares)))


def _offers(model: Compiled, sitting: Sitting, repeated: frozenset[str]) -> Iterator[Offer]:
    system, sensors = model.system, model.sensors
    for code in model.sites:
        if not model.sites[code].faults:
            continue
        if code in sensors:
            yield from _pin_offers(model, sitting, code, repeated)
        for check in sorted(checks_of(system, code) - {"pin"}):
            if (check in AT_PIN and code in repeated) or not sitting.made(check, code):
                yield Offer(check, code, minutes_of(sitting, check, code))
        if system.positions[code].kind == "supply" and not sitting.made("battery", code):
            yield Offer("battery", code, minutes_of(sitting, "battery", code))
    for name, motion in system.motions.items():
        moving = sitting.minutes_to(motion.start)
        if moving is not None and (repeated or not sitting.made("motion", name)):
            yield Offer("motion", "", minutes_of(sitting, "motion", name, moving), moving, motion=name)


def _pin_offers(model: Compiled, sitting: Sitting, code: str, repeated: frozenset[str]) -> Iterator[Offer]:
    offered = set()
    for pose, moving in sitting.poses:  # the nearest first: what looks alike to the sensor is offered once
        view = seen_by(model.system, code, pose)
        if view not in offered and (code in repeated or not sitting.made("pin", code, pose)):
            offered.add(view)
            due = due_at(model.system, at_pin(model.system, code), pose_of(model.system, pose))
            yield Offer("pin", code, minutes_of(sitting, "pin", code, moving), moving, pose=pose, due=due)
