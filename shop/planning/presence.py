"""A person's own minutes of work: those of the shop, without the days on which that person is away."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Presence:
    """Edges of the stretches in which a person is there and away, in minutes of the shop's work (`shop`) and of their
    own (`own`), which stand still while they are away. Both rise from 0 on."""

    shop: Floats
    own: Floats

    @property
    def ever_away(self) -> bool:
        return len(self.shop) > 1

    def begin(self, at: Floats) -> Floats:
        """The first minute of the shop's work from `at` on in which the person is there. Any shape."""
        if not self.ever_away:
            return at
        own = self._own(at)
        edge = np.searchsorted(self.own, own, side="right") - 1
        return np.asarray(np.maximum(at, self.shop[edge] + own - self.own[edge]))

    def end(self, begins: Floats, takes: Floats) -> Floats:
        """When work of `takes` minutes is over that begins then: it rests while the person is away."""
        if not self.ever_away:
            return begins + takes
        own = self._own(begins) + takes
        edge = np.maximum(np.searchsorted(self.own, own, side="left") - 1, 0)
        return np.asarray(np.maximum(begins, self.shop[edge] + own - self.own[edge]))

    def _own(self, at: Floats) -> Floats:
        beyond = np.maximum(at - self.shop[-1], 0.0)
        return np.asarray(np.interp(at, self.shop, self.own) + beyond)


def presence(away: Iterable[tuple[float, float]]) -> Presence:
    """From the stretches away (first, until), in minutes of the shop's work; they may overlap."""
    shop, own = [0.0], [0.0]
    for first, until in sorted(away):
        first = max(first, shop[-1])
        if until > first:
            shop += [first, until]
            own += [own[-1] + (first - shop[-3])] * 2
    return Presence(np.array(shop), np.array(own))


ALWAYS_THERE = presence(())
