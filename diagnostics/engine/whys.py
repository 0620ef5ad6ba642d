"""'Why this check' in one sentence of trade language: what it tells apart, named by the likeliest suspect that it
touches."""

from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.faults import describe
from diagnostics.engine.words import _

NAMED = 0.01


def why_of(model: Compiled, shares: Floats, check: str, position: str, due: str, motion: str | None) -> str:
    """One sentence. `shares` (n,) of the faults; `due` what a sound sensor gives in the pose."""
    if motion is not None:
        words = _("A whole trial of “{motion}” shows which step it stops at, and so whose report or drive is missing.")
        return words.format(motion=model.system.motions[motion].title)  # type: ignore[index]
    best = max(model.sites[position].faults, key=lambda i: (float(shares[i]), -i))
    suspect = describe(model.system, model.faults[best]) if shares[best] >= NAMED else _("a fault there")
    return _sentences()[check].format(code=position, due=due, suspect=suspect)


def _sentences() -> dict[str, str]:
    return {
        "pin": _(
            "{code} should read {due} in this pose: one reading proves or clears switch, wire and ground together "
            "({suspect})."
        ),
        "pin-by-hand": _(
            "Moved by hand, {code} shows switch and wire without its trigger: it parts the two ({suspect})."
        ),
        "click": _("A click tells a stuck mechanism of {code} from a dead contact or wire ({suspect})."),
        "wiggle": _(
            "If the reading of {code} jumps while the harness is moved, it is a break or joint and not the switch "
            "({suspect})."
        ),
        "continuity": _(
            "Ohms from the module to the plug of {code} part the wire from what is plugged in ({suspect})."
        ),
        "look": _("A look at {code} shows a plug left off, a leak or a shifted trigger for little time ({suspect})."),
        "battery": _("A low battery slows or stops every step and spoils every other verdict ({suspect})."),
    }
