"""States and complaints in words."""

from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from diagnostics.engine.case import Complaint
from diagnostics.engine.poses import place_words
from diagnostics.engine.system.model import TopSystem


def complaint_words(system: TopSystem, complaint: Complaint | None) -> str:
    if complaint is None:
        return ""
    motion = system.motions[complaint.motion]
    step = next(step.title for step in motion.steps if step.name == complaint.stops_at)
    return _("{motion}: stops at “{step}”.").format(motion=motion.title, step=step)


def state_word(state: str) -> str:
    if state == "made":
        return pgettext("contact", "made")
    if state == "released":
        return pgettext("contact", "released")
    return place_words(state)
