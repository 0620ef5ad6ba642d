"""Poses, states, complaints and cautions in words."""

from collections.abc import Mapping

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _lazy
from django.utils.translation import pgettext

from diagnostics.engine.case import Complaint
from diagnostics.engine.system.model import BETWEEN, TopSystem


def pose_name(system: TopSystem, pose: Mapping[str, str]) -> str:
    """The resting pose that this is, or ''."""
    return next((name for name, places in system.poses.items() if places == pose), "")


def pose_words(system: TopSystem, pose: Mapping[str, str]) -> str:
    """A resting pose by name; else the nearest one with what stands otherwise."""
    nearest, places = min(system.poses.items(), key=lambda item: len(differing(item[1], pose)))
    if places == pose:
        return plain(nearest)
    return _("{pose}, but {places}").format(pose=plain(nearest), places=places_words(system, differing(places, pose)))


def differing(here: Mapping[str, str], there: Mapping[str, str]) -> dict[str, str]:
    """Axis -> place in `there`, of the axes that stand otherwise than in `here`."""
    return {axis: place for axis, place in there.items() if here.get(axis) != place}


def places_words(system: TopSystem, places: Mapping[str, str]) -> str:
    return ", ".join(f"{system.axes[axis].title}: {place_words(place)}" for axis, place in places.items())


def plain(name: str) -> str:
    """A name of a file (`half-open`) as words."""
    return name.replace("-", " ").replace("_", " ")


def place_words(place: str) -> str:
    return _("in between") if place == BETWEEN else plain(place)


def complaint_words(system: TopSystem, complaint: Complaint | None) -> str:
    if complaint is None:
        return ""
    motion = system.motions[complaint.motion]
    step = next(step.title for step in motion.steps if step.name == complaint.stops_at)
    return _("{motion}: stops at “{step}”.").format(motion=motion.title, step=step)


CAUTIONS = {
    "pinch": _lazy("Pinching: hands, hair and helpers clear of hinges, links and latches."),
    "prop": _lazy("Prop the lid before anybody leans in; hydraulics are never trusted to hold it."),
    "pressure": _lazy("Oil under pressure: relieve it by the vehicle’s own procedure before a line is opened."),
    "injection": _lazy(
        "A fine jet of oil goes through skin and gloves: never feel for a leak; if hit, to hospital at once."
    ),
    "battery": _lazy("Battery: rings off, negative first off and last on; props in place before it is disconnected."),
    "ignition": _lazy("Ignition on: the top can move and fans can start; ventilate, no engine in a closed room."),
    "spring": _lazy("Springs and gas struts stay loaded when the oil is not."),
    "two-people": _lazy("A job for two people, by voice contact."),
}
"""The cautions that a position can carry, as sentences."""


def state_word(state: str) -> str:
    if state == "made":
        return pgettext("contact", "made")
    if state == "released":
        return pgettext("contact", "released")
    return place_words(state)
