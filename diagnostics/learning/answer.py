"""What was learned as one JSON object: the answer of `manage.py learn --json`."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from diagnostics.learning.plain import adjusted, searched
from diagnostics.learning.records import Estimate, Learned, PartModel, Range, Tally, WeibullFit, Z, month_words


def as_json(learned: Learned) -> dict[str, Any]:
    """`models`: one entry a position, mode and population; `ranges`: all that are proposed or decided, `found` those
    that the control of false findings keeps; `skipped`: rows that were not taken.

    `log_rank` of a range: inside against outside without the model. Its months were chosen by looking at the same data,
    so that p says too much, `p_adjusted` over all `searched` too; `probability` is what counts.
    """
    marks = adjusted({model.population: searched(model) for model in learned.models})
    count = sum(map(len, marks.values()))
    return {
        "models": [entry for model in learned.models for entry in _models(model)],
        "ranges": [
            {**_range(model, one), "log_rank": _test(one, mark, count)}
            for model in learned.models
            for one, mark in zip(model.ranges, marks[model.population], strict=False)
        ],
        "skipped": [{"row": one.row, "why": one.why} for one in learned.skipped],
        "cars": learned.cars,
        "units": learned.units,
        "checks": learned.checks,
        "seed": learned.seed,
        "fingerprint": learned.fingerprint,
    }


def _models(model: PartModel) -> Iterator[dict[str, Any]]:
    population, fit = model.population, model.fit
    for position in population.positions:
        yield {
            "system": population.system,
            "position": position,
            "part": population.part,
            "revision": population.revision,
            "original": population.original,
            "mode": population.mode,
            "shape": fit.shape,
            "scale_years": scale_years(fit, position),
            "shape_interval": _interval(fit.estimate[1], fit.covariance[1, 1]),
            "scale_years_interval": _interval(np.log(scale_years(fit, position)), fit.covariance[0, 0]),
            "climates": {
                one.climate: {**_estimate(one.ratio), "probability": one.probability} for one in model.climates
            },
            "range_probability": model.range_probability,
            "log_likelihood": fit.log_likelihood,
            "cars": model.tally.cars,
            "units": model.tally.units,
            "failed": model.tally.failed,
        }


def scale_years(fit: WeibullFit, position: str) -> float:
    """The age by which 63.2 % of the units at this place have failed in the first climate, outside of all ranges."""
    return float(fit.scale_years * np.exp(-fit.effect(f"at:{position}") / fit.shape))


def _range(model: PartModel, one: Range) -> dict[str, Any]:
    population = model.population
    return {
        "system": population.system,
        "position": " ".join(population.positions),
        "positions": list(population.positions),
        "part": population.part,
        "mode": population.mode,
        "first_month": month_words(one.first),
        "last_month": month_words(one.last),
        "first_set": [month_words(month) for month in one.first_set],
        "last_set": [month_words(month) for month in one.last_set],
        "open_first": one.open_first,
        "open_last": one.open_last,
        "probability": one.probability,
        "hazard_ratio": _estimate(one.ratio),
        "ratio_by_climate": {climate: _estimate(ratio) for climate, ratio in one.ratio_by_climate.items()},
        "interaction": one.interaction,
        "inside": _tally(one.inside),
        "outside": _tally(one.outside),
        "found": one.found,
        "state": one.state,
    }


def _test(one: Range, mark: float, count: int) -> dict[str, float] | None:
    test = one.log_rank
    return None if test is None else {"chi2": test.chi2, "p": test.p, "p_adjusted": mark, "searched": count}


def _tally(tally: Tally) -> dict[str, int]:
    return {"cars": tally.cars, "units": tally.units, "failed": tally.failed}


def _estimate(value: Estimate) -> dict[str, float]:
    return {"estimate": value.estimate, "low": value.low, "high": value.high}


def _interval(mean: float, variance: float) -> list[float]:
    sd = float(np.sqrt(max(variance, 0.0)))
    return [float(np.exp(mean - Z * sd)), float(np.exp(mean + Z * sd))]
