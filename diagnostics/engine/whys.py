"""'Why this check' in one sentence of trade language: which outcome would say what, by the two suspects that it
parts."""

from collections.abc import Callable, Mapping

import numpy as np

from diagnostics.engine.compiled import Compiled, Floats
from diagnostics.engine.likely import Likely, shares_of, shown
from diagnostics.engine.motion import MADE, RELEASED
from diagnostics.engine.observe import CONTACT_TOKENS
from diagnostics.engine.offers import Offer
from diagnostics.engine.results import Fault
from diagnostics.engine.system.model import TopSystem
from diagnostics.engine.system.series import reported
from diagnostics.engine.words import _

WHY_SETS, WHY_MASS = 200, 0.98
CLEARED = 0.2
"""A suspect counts as cleared by an outcome that leaves it at most this share of what the other outcome gives it."""


class Whys:
    """Sentences for checks under one posterior."""

    def __init__(self, model: Compiled, likely: Likely) -> None:
        self.model, self.likely = model, likely.cut(WHY_SETS, WHY_MASS)

    def of(self, offer: Offer) -> str:
        table = shown(self.model, self.likely, offer)
        return self._motion(offer, table) if offer.motion is not None else self._check(offer, table)

    def _check(self, offer: Offer, table: Floats) -> str:
        sound = sound_outcome(self.model.system, offer)
        as_due, not_due = self._shares(table[:, sound]), self._shares(1.0 - table[:, sound])
        gains, loses = self.parted(not_due - as_due)
        clauses = _CLAUSES[offer.check]()
        if offer.check == "pin" and self.model.system.positions[offer.position].watches is not None:
            clauses = _("{code} reads as it should here"), clauses[1]
        found = {
            "sound": clauses[0].format(code=offer.position, due=_state(reported(offer.due))),
            "odd": clauses[1],
            "suspect": self._noun(gains, offer),
            "other": self._noun(loses, offer) if loses is not None else "",
        }
        if loses is None:
            return _("If {odd}, that speaks for {suspect}: {sound} where nothing is wrong.").format(**found)
        if gains == not_due.argmax() and loses == as_due.argmax() and as_due[gains] <= CLEARED * not_due[gains]:
            return _("If {sound}, {suspect} is cleared and {other} is next; if {odd}, {suspect} comes first.").format(
                **found
            )
        return _("If {sound}, that speaks for {other}; if {odd}, for {suspect}.").format(**found)

    def _motion(self, offer: Offer, table: Floats) -> str:
        """By the two likeliest outcomes that point to different suspects, or else the two likeliest."""
        declared = self.model.system.motions[offer.motion]  # type: ignore[index]
        told = [_("stops at “{step}”").format(step=step.title) for step in declared.steps] + [_("runs whole")]
        chances = self.likely.weights @ table
        order = [int(i) for i in np.argsort(-chances, kind="stable") if chances[i] > 0.0]
        first = order[0]
        at_first = self._shares(table[:, first])
        for second in [*order[1:], *order[1:2]]:
            gains, loses = self.parted(at_first - self._shares(table[:, second]))
            if loses is not None:
                break
        words = _("If “{motion}” {first}, that speaks for {suspect}; if it {second}, for {other}.")
        return words.format(
            motion=declared.title,
            first=told[first],
            second=told[second],
            suspect=self._noun(gains, offer),
            other=self._noun(loses, offer) if loses is not None else _("something else"),
        )

    def _shares(self, likelihood: Floats) -> Floats:
        """(n,) chance of each fault after an outcome."""
        weights = self.likely.weights * likelihood
        return shares_of(self.likely.members, weights / max(weights.sum(), 1e-300), len(self.model.faults))

    def parted(self, difference: Floats) -> tuple[int, int | None]:
        """The fault that gains most, and of those with another repair the one that loses most; None where none does."""
        gains = int(difference.argmax())
        repair = self.model.repairs[gains]
        for fault in np.argsort(difference, kind="stable"):
            if difference[fault] >= 0.0:
                break
            if self.model.repairs[fault] != repair:
                return gains, int(fault)
        return gains, None

    def _noun(self, fault: int, offer: Offer) -> str:
        return noun_of(self.model.system, self.model.faults[fault], offer.position)


def sound_outcome(system: TopSystem, offer: Offer) -> int:
    """The outcome of a check at a position where nothing is wrong."""
    if offer.check == "pin" and system.positions[offer.position].watches is None:
        return CONTACT_TOKENS.index(reported(offer.due))
    if offer.check == "pin-by-hand":
        return CONTACT_TOKENS.index(MADE) * len(CONTACT_TOKENS) + CONTACT_TOKENS.index(RELEASED)
    return 0


def _state(due: str) -> str:
    return {MADE: _("made"), RELEASED: _("released")}.get(due, due)


_CLAUSES: Mapping[str, Callable[[], tuple[str, str]]] = {
    "pin": lambda: (_("{code} reads {due} here"), _("it does not")),
    "pin-by-hand": lambda: (_("{code} follows the hand at the pin"), _("it does not")),
    "click": lambda: (_("{code} clicks"), _("it stays silent")),
    "wiggle": lambda: (_("the reading of {code} holds while the harness is moved"), _("it jumps")),
    "continuity": lambda: (_("the wire of {code} measures whole"), _("it does not")),
    "look": lambda: (_("a look at {code} shows nothing"), _("it shows something")),
    "pressure-hold": lambda: (_("{code} holds its pressure"), _("it does not")),
    "battery": lambda: (_("the battery is fit"), _("it is low")),
}
"""By check: the outcome of a sound part, and any other; both stand behind “If”. Translated when they are used."""


def noun_of(system: TopSystem, fault: Fault, here: str) -> str:
    """A fault as a part of a sentence; its position by its code where that is the one checked, else with its name."""
    words = _("{code} ({name})")
    place = (
        fault.position
        if fault.position == here
        else words.format(code=fault.position, name=system.positions[fault.position].name)
    )
    return _NOUNS[fault.mode]().format(place=place, sensor=fault.input)


_NOUNS: Mapping[str, Callable[[], str]] = {
    "stays-made": lambda: _("{place} stuck made"),
    "never-makes": lambda: _("{place} not making"),
    "comes-and-goes": lambda: _("a loose contact in {place}"),
    "high-resistance": lambda: _("resistance in {place}"),
    "open": lambda: _("a break in the wire of {place}"),
    "shorted-to-ground": lambda: _("a short to ground in the wire of {place}"),
    "unplugged": lambda: _("the plug of {place}"),
    "out-of-adjustment": lambda: _("the trigger of {place}"),
    "leaks": lambda: _("a leak at {place}"),
    "binds": lambda: _("{place} binding"),
    "dead": lambda: _("a dead {place}"),
    "weak": lambda: _("a weak {place}"),
    "stuck": lambda: _("a stuck {place}"),
    "low": lambda: _("a low supply at {place}"),
    "input-dead": lambda: _("the input of {place} for {sensor}"),
    "output-dead": lambda: _("the outputs of {place}"),
}
"""Modes as parts of a sentence. Translated when they are used."""
