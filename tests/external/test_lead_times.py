"""The fit of lead times, some of them still running, against a survival library (lifelines)."""

import math

import numpy as np
import pytest
from lifelines import LogNormalFitter

from parts.planning import lead_times
from parts.planning.lead_times import Wait, learn


def test_a_log_normal_with_orders_still_open(monkeypatch):
    monkeypatch.setattr(lead_times, "WEIGHT_OF_WIDER", 1e-9)  # what the library knows nothing of
    rng = np.random.default_rng(11)
    took = np.ceil(np.exp(rng.normal(math.log(8), 0.5, 400))).astype(int)
    watched = rng.integers(3, 40, 400)
    days, arrived = np.minimum(took, watched), took <= watched
    assert 30 < (~arrived).sum() < 200
    waits = [
        Wait(1, 1, number, int(day), 1, bool(here))
        for number, (day, here) in enumerate(zip(days, arrived, strict=True))
    ]
    fit = LogNormalFitter().fit(days, arrived)
    shop = learn(waits, {}).shop
    assert shop.median == pytest.approx(math.exp(fit.mu_), rel=1e-4)
    assert shop.spread / math.sqrt(1 + 1 / 400) == pytest.approx(fit.sigma_, rel=1e-4)
