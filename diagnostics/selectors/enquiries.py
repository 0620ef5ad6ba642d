"""Enquiries: what was told in words, what is thought of it, and which ones wait."""

import hashlib
import json
from collections.abc import Mapping
from functools import lru_cache

from django.core.cache import cache
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import get_language

from diagnostics.engine.drawing.top import TopPicture, top_picture, view_of
from diagnostics.engine.motion import fault_free
from diagnostics.engine.outlook import Outlook, outlook
from diagnostics.engine.questions import sentences_of
from diagnostics.engine.system.model import BETWEEN
from diagnostics.models import Enquiry, EnquiryState, SystemRevision
from diagnostics.selectors.systems import parsed, system_of
from shop.models import Car, Climate, Job

_DAY = 24 * 3600
SHOWN_DONE = 20
"""Enquiries shown that no longer wait."""


def outlook_for(revision: SystemRevision, answers: Mapping[str, str], car: Car | None = None) -> Outlook:
    """What is thought of these answers (`questions.checked`). Cached by what it follows from; no contact goes in."""
    today = timezone.localdate()
    made_on = (car.made_on if car else today).strftime("%Y-%m")
    climate = car.climate if car else Climate.TEMPERATE.value
    key_parts = [revision.sha256, json.dumps(dict(answers)), made_on, climate, get_language() or ""]
    key = "outlook:" + hashlib.sha256("\n".join(key_parts).encode()).hexdigest()
    found: Outlook | None = cache.get(key)
    if found is None:
        found = outlook(system_of(revision), answers, made_on=made_on, climate=climate, seen_on=today.isoformat())
        cache.set(key, found, _DAY)
    return found


def outlook_of(enquiry: Enquiry, car: Car | None = None) -> Outlook | None:
    """None where the top system is not known."""
    return outlook_for(enquiry.revision, enquiry.answers, car) if enquiry.revision else None


def step_pictures(revision: SystemRevision, motion: str) -> dict[str, TopPicture]:
    """Step -> the top as it stands when that step does not come to its end, without names; {} without a drawing."""
    return _step_pictures(revision.text, str(revision), motion)


def closed_picture(revision: SystemRevision) -> TopPicture | None:
    """The top at its first resting pose, without names; None without a drawing."""
    return _closed_picture(revision.text, str(revision))


# Kept by the text and not by the row: only the same text is the same drawing.
@lru_cache(maxsize=64)
def _step_pictures(text: str, source: str, motion: str) -> dict[str, TopPicture]:
    system = parsed(text, source)
    view = view_of(system)
    found = {}
    for trace in fault_free(system, motion):
        pose = {**trace.before, **dict.fromkeys(trace.step.moves, BETWEEN)}
        picture = top_picture(system, pose, moving=trace.step.moves, view=view, labels=False)
        if picture is not None:
            found[trace.step.name] = picture
    return found


@lru_cache(maxsize=64)
def _closed_picture(text: str, source: str) -> TopPicture | None:
    system = parsed(text, source)
    return top_picture(system, next(iter(system.poses.values())), labels=False)


def told_lines(enquiry: Enquiry) -> tuple[tuple[str, str], ...]:
    """(question, answer) in words."""
    return sentences_of(system_of(enquiry.revision), enquiry.answers) if enquiry.revision else ()


def told_text(enquiry: Enquiry) -> str:
    """What was told as the complaint of a job: the answers, a line each, then the customer's own words."""
    lines = [f"{asked} {said}" for asked, said in told_lines(enquiry)]
    return "\n".join([*lines, *([enquiry.words] if enquiry.words else [])])


def enquiries_waiting() -> QuerySet[Enquiry]:
    """The oldest first: whoever waits longest is called first."""
    return Enquiry.objects.filter(state=EnquiryState.NEW).select_related("revision", "by").order_by("created_at", "pk")


def enquiries_done() -> QuerySet[Enquiry]:
    """Those that became a job or were closed, the latest first."""
    rows = Enquiry.objects.exclude(state=EnquiryState.NEW).select_related("revision", "job", "job__car", "by")
    return rows.order_by("-created_at", "-pk")[:SHOWN_DONE]


def enquiry_of_job(job: Job) -> Enquiry | None:
    return Enquiry.objects.filter(job=job).select_related("revision").first()
