"""Which forecast to believe for a part: each is made again as of every past month and held against what came.

Distributions are scored by pinball loss at the levels that a shelf is stocked for (R. Koenker and G. Bassett,
Econometrica 46 (1978) 33-50), never by absolute error: of a part that is asked for in one month of four, the forecast
"nothing" has the least absolute error, and an empty shelf.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from parts.planning.counts import Floats, Ints, quantiles
from parts.planning.history import follow
from parts.planning.intermittent import METHODS, quantiles_at

LEVELS = (0.5, 0.8, 0.9, 0.95, 0.99)
INTERVAL = (0.05, 0.95)
"""Ends of the central interval whose coverage is told; of whole pieces it holds 90 % or more when all is well."""
FEWEST_MONTHS = 12
"""Of a part's own record before it is asked what it forecast; common practice, no source."""
WEIGHT_OF_POOL = 8.0
"""Stretches of the horizon that the pooled comparison weighs against a part's own; common practice, no source."""
WORST_POOLED = 2.0
"""That a method is bad for all other parts says at most this of a part's own ratio: a long record can overcome it."""
_ASKED = (*LEVELS, *INTERVAL)


@dataclass(frozen=True, slots=True, eq=False)
class Scores:
    """One method. `at` (parts, origins): mean pinball loss over LEVELS in pieces, NaN where it was not scored;
    `loss` (parts, levels) its mean over the origins, by level, NaN without any; `covered` (parts,) the share of origins
    at which what came lay within INTERVAL, NaN likewise; `origins` (parts,) how many were scored."""

    at: Floats
    loss: Floats
    covered: Floats
    origins: Ints


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a part goes by `method`. `losses` mean pinball loss in pieces of each method that was scored; `drawn` each
    method's loss relative to the baselines' mean, its own record drawn towards that of all parts; `own` what the
    part's own record alone would choose and `pooled` what all parts together would; `covered` as in Scores."""

    method: str
    losses: Mapping[str, float]
    drawn: Mapping[str, float]
    origins: int
    covered: float | None
    own: str | None
    pooled: str


@dataclass(frozen=True, slots=True, eq=False)
class Backtest:
    """`origins`: places of the months at whose end was forecast; `pooled` (methods,) and `drawn` (parts, methods) as
    in Reason; `best` (parts,) the place in `names` of each part's method."""

    months: int
    origins: Ints
    names: tuple[str, ...]
    scores: Mapping[str, Scores]
    pooled: Floats
    drawn: Floats
    best: Ints

    def reason(self, part: int) -> Reason:
        scored = {name: one for name, one in self.scores.items() if one.origins[part]}
        losses = {name: float(one.loss[part].mean()) for name, one in scored.items()}
        method = self.names[int(self.best[part])]
        return Reason(
            method=method,
            losses=losses,
            drawn=dict(zip(self.names, self.drawn[part].tolist(), strict=True)),
            origins=int(self.scores[method].origins[part]),
            covered=float(self.scores[method].covered[part]) if method in scored else None,
            own=min(losses, key=lambda name: losses[name]) if losses else None,
            pooled=self.names[int(_least(self.pooled))],
        )


def origins_of(months: int, horizon: int) -> Ints:
    """Places of the months, out of `months`, at whose end a forecast of `horizon` months can be held against all that
    came; the first has FEWEST_MONTHS behind it."""
    return np.arange(FEWEST_MONTHS - 1, months - horizon, dtype=np.int64)


def came(demand: Floats, horizon: int, origins: Ints) -> Floats:
    """(parts, origins): pieces asked for in the `horizon` months after each origin; NaN where a month has no record, or
    the part had less than FEWEST_MONTHS behind it. `demand` as in `history.follow`."""
    total = np.zeros((len(demand), len(origins)))
    for ahead in range(1, horizon + 1):
        total += demand[:, origins + ahead]
    known = np.cumsum(~np.isnan(demand), axis=1)[:, origins]
    return np.where(known >= FEWEST_MONTHS, total, np.nan)


def pinball(forecast: Floats | Ints, actual: Floats, level: float) -> Floats:
    """level * (actual - forecast) where more came than was forecast, (1 - level) * (forecast - actual) where less."""
    short = actual - forecast
    loss: Floats = np.maximum(level * short, (level - 1.0) * short)
    return loss


def score(pmfs: Floats, actual: Floats) -> Scores:
    """Of any method: `pmfs` (parts, origins, K + 1) chances of 0 to K pieces, NaN where it had no forecast; `actual`
    (parts, origins) as from `came`."""
    none = np.isnan(pmfs).any(axis=-1)
    return _scores(quantiles(np.nan_to_num(pmfs), _ASKED), np.where(none, np.nan, actual))


def backtest(demand: Floats, horizon: int, outside: Mapping[str, Floats] | None = None) -> Backtest:
    """`demand` (parts, months) as in `history.follow`; `horizon` in months: how long what is ordered must last.
    `outside`: pmfs of other methods as for `score`, at `origins_of(months, horizon)`; where nothing speaks for another
    they come first, in the order given."""
    origins = origins_of(demand.shape[1], horizon)
    actual = came(demand, horizon, origins)
    scores = {name: score(pmfs, actual) for name, pmfs in (outside or {}).items()}
    if len(origins):
        followed = follow(demand)
        for method in METHODS:
            scores[method] = _scores(quantiles_at(followed, method, horizon, origins, _ASKED), actual)
    else:
        nothing = np.zeros((*actual.shape, len(_ASKED)), dtype=np.int64)
        scores |= {method: _scores(nothing, actual) for method in METHODS}
    pooled, drawn = _compared(list(scores.values()), np.mean([scores[name].at for name in METHODS], axis=0), horizon)
    return Backtest(horizon, origins, tuple(scores), scores, pooled, drawn, _least(drawn))


def _scores(forecast: Ints, actual: Floats) -> Scores:
    """`forecast` (parts, origins, levels and ends of INTERVAL)."""
    each = np.stack([pinball(forecast[..., place], actual, level) for place, level in enumerate(LEVELS)], axis=-1)
    scored = ~np.isnan(actual)
    number = scored.sum(axis=1)
    held = (forecast[..., -2] <= actual) & (actual <= forecast[..., -1])
    with np.errstate(invalid="ignore"):  # a part without any scored origin has no mean
        loss = np.nansum(each, axis=1) / number[:, None]
        covered = held.sum(axis=1) / number
    return Scores(each.mean(axis=-1), loss, covered, number)


def _compared(scores: Sequence[Scores], yardstick: Floats, horizon: int) -> tuple[Floats, Floats]:
    """(methods,) and (parts, methods): losses relative to `yardstick` (parts, origins), pooled and drawn.

    Forecasts of neighbouring months share most of the months that they speak of, so that `horizon` origins count as one
    stretch. Both sums of a part's ratio get WEIGHT_OF_POOL stretches of its usual loss, at the pooled ratio in the
    numerator: one lucky month moves a ratio with few stretches little. Parts count alike in the pool, which itself is
    drawn towards 1.
    """
    known = ~np.isnan(yardstick)
    usual = np.nansum(yardstick, axis=1) / np.maximum(known.sum(axis=1), 1)
    weight = np.where(usual > 0, WEIGHT_OF_POOL * usual, 1.0)
    pooled, drawn = np.empty(len(scores)), np.empty((len(yardstick), len(scores)))
    for place, one in enumerate(scores):
        own = np.nansum(one.at, axis=1) / horizon
        others = np.nansum(np.where(np.isnan(one.at), np.nan, yardstick), axis=1) / horizon
        pooled[place] = ((own / weight).sum() + 1.0) / ((others / weight).sum() + 1.0)
        drawn[:, place] = (own + weight * min(pooled[place], WORST_POOLED)) / (others + weight)
    return pooled, drawn


def _least(relative: Floats) -> Ints:
    """The first of those that are least but for rounding."""
    return np.asarray(np.argmin(np.round(relative, 12), axis=-1), dtype=np.int64)
