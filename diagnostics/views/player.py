"""A top system played step by step: sound, or with up to three faults at their plainest."""

from typing import Any
from urllib.parse import urlencode

from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.cache import add_never_cache_headers, patch_vary_headers
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from diagnostics.engine.drawing.player import Frame, player_frames
from diagnostics.engine.drawing.said import customer_tells
from diagnostics.engine.faults import faults_of, mode_words
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import TopSystem
from diagnostics.models import SystemDraft
from diagnostics.selectors import revision_asked, system_of
from diagnostics.selectors.drafts import draft_system
from shop.errors import ShopError
from shop.http import ShopRequest
from shop.permissions import needs

MOST_FAULTS = 3
MOTIONS = ("open", "close")


@require_GET
def system_play(request: ShopRequest, slug: str) -> HttpResponse:
    """A published revision: the newest, or `?revision=`. For the rest of the query see `_played`."""
    revision = revision_asked(slug, request.GET.get("revision", ""))
    if revision is None:
        words = _("No top system {slug} is declared here, or not in this revision.").format(slug=slug)
        return render(request, "shop/error.html", {"status": 404, "words": words}, status=404)
    asked = {"revision": str(revision.revision)} if "revision" in request.GET else {}
    return _played(request, system_of(revision), asked, {"revision": revision})


@require_GET
@needs("system.draft")
def draft_play(request: ShopRequest, slug: str) -> HttpResponse:
    """The draft of a system, as it was kept last."""
    draft = get_object_or_404(SystemDraft.objects.select_related("by"), slug=slug)
    system = draft_system(draft)
    if system is None:
        raise ShopError(_("The draft of {slug} has mistakes; it can be played once it has none.").format(slug=slug))
    return _played(request, system, {}, {"draft": draft})


def _played(request: ShopRequest, system: TopSystem, asked: dict[str, str], shown: dict[str, Any]) -> HttpResponse:
    """`?motion=open|close`, `?step=` the frame from 0, `?fault=<position>:<mode>[:<input>]` up to three times."""
    motion = request.GET.get("motion") or MOTIONS[0]
    if motion not in MOTIONS:
        raise ShopError(_("There is no such motion; expected open or close."))
    faults = _faults_asked(request, system)
    frames = player_frames(system, motion, faults)
    at = _step_asked(request, len(frames))
    frame = frames[at]

    def address(**more: object) -> str:
        query = [*asked.items(), *(("fault", _key(fault)) for fault in faults), *more.items()]
        return f"?{urlencode(query)}"

    chosen = [_key(fault) for fault in faults]
    context = {
        "system": system,
        "motion": motion,
        "motions": [(name, system.motions[name].title, address(motion=name, step=0)) for name in MOTIONS],  # type: ignore[index]
        "frame": frame,
        "changed": _changed(frames[at - 1], frame) if at else (),
        "step": next((one for one in system.motions[motion].steps if one.name == frame.step), None),  # type: ignore[index]
        "at": at,
        "number": at + 1,
        "count": len(frames),
        "back": address(motion=motion, step=at - 1) if at else "",
        "on": address(motion=motion, step=at + 1) if at + 1 < len(frames) else "",
        "to_end": address(motion=motion, step=len(frames) - 1),
        "asked": asked,
        "choices": _choices(system),
        "chosen": [*chosen, *[""] * (MOST_FAULTS - len(chosen))],
        "told": customer_tells(system, motion, faults) if faults else (),
        **shown,
    }
    context["alone"] = bool(request.htmx and not request.htmx.history_restore_request)
    answer = render(request, f"diagnostics/systems/play.html{'#player' if context['alone'] else ''}", context)
    # One address gives the page and a part of it: going back must never get the part where the page was.
    patch_vary_headers(answer, ["HX-Request", "HX-History-Restore-Request"])
    add_never_cache_headers(answer)
    return answer


def _faults_asked(request: ShopRequest, system: TopSystem) -> tuple[Fault, ...]:
    """The faults of the query, each once."""
    known = {_key(fault): fault for fault in faults_of(system)}
    asked = dict.fromkeys(key for key in request.GET.getlist("fault") if key)
    if len(asked) > MOST_FAULTS:
        raise ShopError(_("Too many faults; expected at most {most} at once.").format(most=MOST_FAULTS))
    for key in asked:
        if key not in known:
            raise ShopError(_("This top cannot have the fault {fault}; choose one of the list.").format(fault=key[:40]))
    return tuple(known[key] for key in asked)


def _step_asked(request: ShopRequest, count: int) -> int:
    """The frame asked for, kept within the motion: with other faults it may end sooner."""
    said = request.GET.get("step", "")
    return min(int(said), count - 1) if said.isascii() and said.isdecimal() and len(said) < 6 else 0


def _key(fault: Fault) -> str:
    return ":".join(part for part in (fault.position, fault.mode, fault.input) if part)


def _changed(before: Frame, now: Frame) -> tuple[str, ...]:
    """Codes of the sensors that report otherwise than a frame ago."""
    told = {one.code: one.told for one in before.sensors}
    return tuple(one.code for one in now.sensors if told[one.code] != one.told)


def _choices(system: TopSystem) -> list[tuple[str, list[tuple[str, str]]]]:
    """For a list to choose from: each position with its faults as (key, words)."""
    found: dict[str, list[tuple[str, str]]] = {}
    for fault in faults_of(system):
        words = mode_words(fault.mode)
        if fault.input:
            words = _("has a dead input for {sensor}").format(sensor=fault.input)
        found.setdefault(fault.position, []).append((_key(fault), f"{fault.position} {words}"))
    return [(f"{code} {system.positions[code].name}", many) for code, many in found.items()]
