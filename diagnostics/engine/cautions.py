"""Cautions of checks and positions as sentences. They warn; local rules and licensed practice decide what may be done
by whom."""

from collections.abc import Callable, Iterable, Mapping

from diagnostics.engine.system.model import Caution, TopSystem
from diagnostics.engine.words import _

CHECK_CAUTIONS: Mapping[str, tuple[Caution, ...]] = {
    "pin": ("ignition",),
    "pin-by-hand": ("ignition", "pinch"),
    "click": (),
    "wiggle": ("ignition",),
    "continuity": (),
    "motion": ("pinch", "ignition"),
    "look": (),
    "pressure-hold": ("pressure", "injection", "pinch", "ignition"),
    "battery": ("battery",),
}
"""What a kind of check brings with it wherever it is made."""
MOVING: frozenset[Caution] = frozenset({"pinch", "prop", "two-people"})
"""Cautions of what a motion drives that matter while it runs; the others matter to hands inside."""
HANDS_ON = frozenset({"pin-by-hand", "click", "continuity", "look", "pressure-hold"})
"""Checks with hands at the position, to which its own cautions apply."""
ORDER: tuple[Caution, ...] = (
    "prop",
    "pressure",
    "injection",
    "spring",
    "pinch",
    "two-people",
    "battery",
    "ignition",
)
"""The gravest first."""


_SENTENCES: Mapping[Caution, Callable[[], str]] = {
    "pinch": lambda: _(
        "Hands, hair and helpers clear of hinges, latches and gaps; one person operates and only on call."
    ),
    "prop": lambda: _(
        "Prop the lid or frame mechanically before leaning in: never trust hydraulics or gas struts to hold it."
    ),
    "pressure": lambda: _("Relieve the pressure before opening or loosening anything; springs and struts stay loaded."),
    "injection": lambda: _(
        "Never feel for a leak: a jet goes through skin and gloves. If it did, go to hospital at once."
    ),
    "battery": lambda: _(
        "Negative lead off first and on last, no tools across the terminals; some tops drop without supply."
    ),
    "ignition": lambda: _(
        "Ignition on: the top can move by itself, so keep clear; do not run the engine in a closed room."
    ),
    "spring": lambda: _("Expect loaded springs: a frame can snap when fabric or a latch lets go."),
    "two-people": lambda: _("Two people for this; the car must not be driven with the top half open."),
}


def caution_words(caution: Caution) -> str:
    return _SENTENCES[caution]()


def caution_for(system: TopSystem, check: str, positions: Iterable[str]) -> str:
    """The sentences for a check at these positions, the gravest first; '' where nothing is to be feared."""
    codes = set(CHECK_CAUTIONS[check])
    there = {caution for code in positions for caution in system.positions[code].cautions}
    if check == "motion":
        codes |= there & MOVING
    elif check in HANDS_ON:
        codes |= there
    words = [caution_words(caution) for caution in ORDER if caution in codes]
    if not words:
        return ""
    return " ".join([*words, _("Local rules and licensed practice come first.")])


def owner_cautions(*, half_way: bool) -> tuple[str, ...]:
    """What the owner of a top that stopped must know before a trained person sees it; `half_way`: it may stand
    between its resting places."""
    words = [
        _("Do not force the top, neither by hand nor by holding the switch on: what blocks it bends or breaks."),
        _(
            "Do not reach under the top, into a hinge, a latch or below a lid that it holds up: it can drop or move by "
            "itself. Keep children and animals away."
        ),
    ]
    if half_way:
        words += [
            _("Do not drive with the top half open: wind can tear it off, and it can block the view to the rear."),
            _(
                "Leave it as it stands, ignition off and key out, and ask a trained person to bring it to rest there. "
                "Keep rain off with a sheet that presses on nothing."
            ),
        ]
    else:
        words.append(_("Leave it at rest as it stands and do not try again and again: each try costs the battery."))
    return (*words, _("The vehicle’s own instructions, local rules and licensed practice come first."))
