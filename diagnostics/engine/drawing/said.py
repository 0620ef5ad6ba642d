"""What a customer would tell of a motion that was played: the counterpart of the complaint, at its plainest."""

from collections.abc import Iterable

from diagnostics.engine.case import Complaint
from diagnostics.engine.drawing.player import Frame, player_frames
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.told import HEARD, complaint_sentences
from diagnostics.engine.words import _

_DEAF = frozenset({"dead", "output-dead", "low"})
"""Modes with which no pump and no motor is heard."""


def customer_tells(system: TopSystem, motion: str, faults: Iterable[Fault] = ()) -> tuple[str, ...]:
    """The sentences of somebody who tried `motion`. Raises as `player_frames` does."""
    known = tuple(faults)
    frames = player_frames(system, motion, known)
    last = frames[-1]
    if not last.stalled:
        title = system.motions[motion].title  # type: ignore[index]
        return (_("{motion} runs to its end: nobody notices anything on it.").format(motion=title),)
    other = "open" if motion == "close" else "close"
    told = Complaint(
        motion=motion,  # type: ignore[arg-type]
        stops_at=last.step,
        lamp=last.lamp,  # type: ignore[arg-type]
        sound="runs" if _is_heard(system, motion, last, known) else "silent",
        comes_and_goes=True if any(fault.mode == "comes-and-goes" for fault in known) else None,
        neither_way=player_frames(system, other, known)[-1].stalled,
    )
    return complaint_sentences(system, told)


def _is_heard(system: TopSystem, motion: str, last: Frame, faults: tuple[Fault, ...]) -> bool:
    if not last.driven:
        return False
    step = next(one for one in system.motions[motion].steps if one.name == last.step)  # type: ignore[index]
    drives = [code for code in step.driven_by if system.positions[code].kind in HEARD]
    silenced = {fault.position for fault in faults if fault.mode in _DEAF}
    for_all = any(system.positions[code].kind in ("supply", "module") for code in silenced)
    return not for_all and any(code not in silenced for code in drives)
