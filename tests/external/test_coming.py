"""Whether a car still comes, against a library of customer models and against integrals of what the model says."""

import numpy as np
import pytest
from scipy import integrate, stats

from parts.planning.coming import Habit, log_likelihood, still_ours

# ModifiedBetaGeoFitter of the Python library `lifetimes` 0.11.3, fitted to its CDNOW summary (2357 customers, weeks).
# This project's own fit to the same data, without priors, gave r 0.524837, alpha 6.182986, a 0.891356, b 1.614003. The
# library's own tests print 0.525, 6.183, 0.891, 1.614 (MEM).
CDNOW = Habit(0.524837725567698, 6.182988479134173, 0.8913562809310741, 1.6140000256718765)
ALIVE = [
    ((0, 0.0, 38.86), 0.38971644),
    ((1, 1.71, 38.86), 0.17081963),
    ((2, 30.43, 38.86), 0.70612626),
    ((7, 29.43, 38.86), 0.62263872),
    ((26, 30.86, 31.0), 0.96555287),
]


def of_one(call, habit, told):
    visits, last, since = told
    return call(habit, np.array([visits]), np.array([last]), np.array([since]))[0]


@pytest.mark.parametrize(("told", "alive"), ALIVE)
def test_chance_of_being_still_there(told, alive) -> None:
    assert of_one(still_ours, CDNOW, told) == pytest.approx(alive, abs=1e-8)


def test_likelihood_of_no_later_visit() -> None:
    """The library's log likelihood of one such customer at r 0.525, alpha 6.183, a 0.891, b 1.614."""
    told = of_one(log_likelihood, Habit(0.525, 6.183, 0.891, 1.614), (0, 0.0, 38.86))
    assert told == pytest.approx(-0.5398374635310148, abs=1e-12)


@pytest.mark.parametrize("told", [(0, 0.0, 5.0), (1, 2.0, 5.0), (4, 4.5, 5.0)])
def test_likelihood_against_an_integral_over_rates_and_chances(told) -> None:
    """What the model says, integrated numerically: visits at a rate, a chance of being lost after each."""
    visits, last, since = told
    habit = Habit(1.3, 2.1, 0.7, 1.9)

    # Rate and chance are independent, so that each integral stands alone.
    def over_chances(weight) -> float:
        return integrate.quad(lambda lost: weight(lost) * stats.beta.pdf(lost, habit.a, habit.b), 0, 1)[0]

    def over_rates(seen: float) -> float:
        rates = stats.gamma(habit.r, scale=1 / habit.alpha)
        return integrate.quad(lambda rate: rate**visits * np.exp(-rate * seen) * rates.pdf(rate), 0, 40)[0]

    whole = over_chances(lambda lost: (1 - lost) ** (visits + 1)) * over_rates(since)
    whole += over_chances(lambda lost: lost * (1 - lost) ** visits) * over_rates(last)
    assert of_one(log_likelihood, habit, told) == pytest.approx(np.log(whole), abs=1e-7)
