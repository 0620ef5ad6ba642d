"""Poses, states, complaints and cautions in words."""

from collections.abc import Mapping

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from diagnostics.engine.case import Complaint
from diagnostics.engine.system.model import BETWEEN, TopSystem


def pose_name(system: TopSystem, pose: Mapping[str, str]) -> str:
    """The resting pose that this is, or ''."""
    return next((name for name, places in system.poses.items() if places == pose), "")


def pose_words(system: TopSystem, pose: Mapping[str, str]) -> str:
    name = pose_name(system, pose)
    if name:
        return plain(name)
    return ", ".join(f"{axis.title}: {place_words(pose.get(code, BETWEEN))}" for code, axis in system.axes.items())


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


def caution_words(caution: str) -> str:
    """The caution of a position, as a sentence."""
    return {
        "pinch": _("Pinching: hands, hair and helpers clear of hinges, links and latches."),
        "prop": _("Prop the lid before anybody leans in; hydraulics are never trusted to hold it."),
        "pressure": _("Oil under pressure: relieve it by the vehicle’s own procedure before a line is opened."),
        "injection": _(
            "A fine jet of oil goes through skin and gloves: never feel for a leak; once hit, to hospital at once."
        ),
        "battery": _("Battery: rings off, negative first off and last on; props in place before it is disconnected."),
        "ignition": _("Ignition on: the top can move and fans can start; ventilate, no engine in a closed room."),
        "spring": _("Springs and gas struts stay loaded when the oil is not."),
        "two-people": _("A job for two people, by voice contact."),
    }[caution]


def state_word(state: str) -> str:
    if state == "made":
        return pgettext("contact", "made")
    if state == "released":
        return pgettext("contact", "released")
    return place_words(state)
