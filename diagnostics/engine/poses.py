"""Poses in words: a resting pose by its name, any other as the nearest resting pose with what stands otherwise."""

from collections.abc import Mapping

from diagnostics.engine.system.model import BETWEEN, TopSystem
from diagnostics.engine.words import _

Pose = str | dict[str, str]
"""A resting pose by name, or axis -> place."""


def pose_name(system: TopSystem, pose: Mapping[str, str]) -> str:
    """The resting pose that this is, or ''."""
    return next((name for name, places in system.poses.items() if places == pose), "")


def pose_words(system: TopSystem, pose: Mapping[str, str]) -> str:
    """A resting pose by name; else the nearest one with what stands otherwise. `pose`: axis -> place, of every axis."""
    nearest, places = min(system.poses.items(), key=lambda item: len(differing(item[1], pose)))
    if places == pose:
        return plain(nearest)
    return _("{pose}, but {places}").format(pose=plain(nearest), places=places_words(system, differing(places, pose)))


def differing(here: Mapping[str, str], there: Mapping[str, str]) -> dict[str, str]:
    """Axis -> place in `there`, of the axes that stand otherwise than in `here`."""
    return {axis: place for axis, place in there.items() if here.get(axis) != place}


def places_words(system: TopSystem, places: Mapping[str, str]) -> str:
    """In the order of the system's axes: a database that stores places may give them back in another order."""
    ordered = ((axis, places[axis]) for axis in system.axes if axis in places)
    return ", ".join(f"{system.axes[axis].title}: {place_words(place)}" for axis, place in ordered)


def plain(name: str) -> str:
    """A name of a file (`half-open`) as words."""
    return name.replace("-", " ").replace("_", " ")


def level_words(state: str) -> str:
    """What a level at a pin stands for, as it is said in a sentence; of an angle sensor the place by its name."""
    return {"made": _("made"), "released": _("released"), BETWEEN: _("between")}.get(state, state)


def place_words(place: str) -> str:
    return _("in between") if place == BETWEEN else plain(place)
