"""Lives against published values and against a general survival library (lifelines, Davidson-Pilon 2019; scipy).

Attributions marked MEM are from memory; the numbers themselves were computed again with the libraries named.
"""

from itertools import pairwise

import numpy as np
import pytest

from diagnostics.learning.records import Prior
from diagnostics.learning.turnbull import at_risk, log_rank, npmle
from diagnostics.learning.weibull import fit_weibull

INF = float("inf")
FLAT = (0.0, 1e4)


def lives(intervals, counts=None):
    """entry, good, failed, count of (good, failed] pairs; one number is an exact age."""
    pairs = np.array([(one, one) if np.isscalar(one) else one for one in intervals], dtype=float)
    count = np.ones(len(pairs)) if counts is None else np.array(counts, dtype=float)
    return np.zeros(len(pairs)), pairs[:, 0], pairs[:, 1], count


def fit(data, **more):
    entry, good, failed, count = data
    return fit_weibull(entry, good, failed, count=count, **more)


def standard_errors(fitted):
    """Of scale and shape, by the delta method from those of their logarithms."""
    return np.sqrt(np.diag(fitted.covariance))[:2] * [fitted.scale_years, fitted.shape]


# Freireich et al. 1963, in Gehan, Biometrika 52 (1965) 203-223 (MEM): weeks to relapse, 6-MP and placebo
MP = [6, 6, 6, (6, INF), 7, (9, INF), 10, (10, INF), (11, INF), 13, 16, (17, INF), (19, INF), (20, INF), 22, 23]
MP += [(25, INF), (32, INF), (32, INF), (34, INF), (35, INF)]
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def test_kaplan_and_meier_on_the_leukaemia_data():
    # Collett; Kalbfleisch and Prentice (MEM): survival of the 6-MP group, four decimals
    published = {6: 0.8571, 7: 0.8067, 10: 0.7529, 13: 0.6902, 16: 0.6275, 22: 0.5378, 23: 0.4482}
    estimate = npmle(*lives(MP))
    share = estimate.share_at(np.array(list(published), dtype=float))
    assert 1 - share == pytest.approx(list(published.values()), abs=5e-5)
    assert np.isnan(estimate.share_at(np.array([35.1]))[0])  # the last was watched to week 35


def test_the_log_rank_test_on_the_leukaemia_data():
    entry, good, failed, count = lives(MP + PLACEBO)
    test = log_rank(np.arange(42) >= 21, entry, good, failed, count)
    # Published: chi square 16.79, expected relapses 19.25 and 10.75, observed 9 and 21 (MEM); digits by lifelines
    assert test.chi2 == pytest.approx(16.79294, abs=5e-6)
    assert test.variance == pytest.approx(6.25696, abs=5e-6)
    assert test.expected == pytest.approx((19.2505, 10.7495), abs=5e-5)
    assert test.p == pytest.approx(4.169e-5, rel=1e-3)
    assert test.statistic == pytest.approx(21 - 10.7495, abs=5e-5)


def test_numbers_at_risk_of_the_leukaemia_data():
    entry, good, failed, count = lives(MP)
    # The table of Kaplan and Meier's estimate (Kleinbaum and Klein, MEM): n at risk just before each relapse
    assert list(at_risk(entry, good, failed, np.array([6.0, 7, 10, 13, 16, 22, 23]), count)) == [
        21,
        17,
        15,
        12,
        11,
        7,
        6,
    ]


def test_the_log_rank_test_on_two_strains():
    datasets = pytest.importorskip("lifelines.datasets")
    waltons = datasets.load_waltons()
    age, seen = waltons["T"].to_numpy(float), waltons["E"].to_numpy() == 1
    group = (waltons["group"] == "miR-137").to_numpy()
    test = log_rank(group, np.zeros(len(age)), age, np.where(seen, age, INF))
    assert test.chi2 == pytest.approx(122.249, abs=5e-4)  # lifelines 0.30.3


# Finkelstein and Wolfe, Biometrics 41 (1985) 933-945, radiotherapy group, months, (left, right]; the estimate is that
# of Fay and Shaw, Journal of Statistical Software 36(2) (2010), section 4.1.
COSMESIS = [(45, INF), (6, 10), (0, 7), (46, INF), (46, INF), (7, 16), (17, INF), (7, 14), (37, 44), (0, 8), (4, 11)]
COSMESIS += [(15, INF), (11, 15), (22, INF), (46, INF), (46, INF), (25, 37), (46, INF), (26, 40), (46, INF), (27, 34)]
COSMESIS += [(36, 44), (46, INF), (36, 48), (37, INF), (40, INF), (17, 25), (46, INF), (11, 18), (38, INF), (5, 12)]
COSMESIS += [(37, INF), (0, 5), (18, INF), (24, INF), (36, INF), (5, 11), (19, 35), (17, 25), (24, INF), (32, INF)]
COSMESIS += [(33, INF), (19, 26), (37, INF), (34, INF), (36, INF)]
COSMESIS_MASS = {(4, 5): 0.0463, (6, 7): 0.0334, (7, 8): 0.0887, (11, 12): 0.0708, (24, 25): 0.0926}
COSMESIS_MASS |= {(33, 34): 0.0818, (38, 40): 0.1209, (46, 48): 0.4656}


def test_turnbull_on_the_cosmesis_data():
    entry, good, failed, count = lives(COSMESIS)
    estimate = npmle(entry, good, failed, count)
    held = estimate.mass > 1e-9
    found = dict(zip(zip(estimate.left[held], estimate.right[held], strict=True), estimate.mass[held], strict=True))
    assert found.keys() == COSMESIS_MASS.keys()
    for interval, mass in COSMESIS_MASS.items():
        assert found[interval] == pytest.approx(mass, abs=5e-5)
    within = (good[:, None] <= estimate.left) & (failed[:, None] >= estimate.right)
    # Recomputed by an EM of another hand: -58.06002
    assert np.log(within @ estimate.mass).sum() == pytest.approx(-58.06002, abs=5e-6)


def test_closed_intervals_would_be_another_estimate():
    """Seen good at 7 months and failed at 8 does not mean failed at 7: one library reads it so (survival after eight
    months 0.848 instead of 0.832)."""
    entry, good, failed, count = lives(COSMESIS)
    eight = np.array([8.0])
    assert 1 - npmle(entry, good, failed, count).share_at(eight)[0] == pytest.approx(0.832, abs=5e-4)
    closed = npmle(entry, np.maximum(good - 1e-6, 0), failed, count)
    assert 1 - closed.share_at(eight)[0] == pytest.approx(0.848, abs=5e-4)


def test_the_handbooks_weibull_example():
    # NIST/SEMATECH e-Handbook of Statistical Methods 8.4.1.3: scale 606.5280, shape 1.7208, log likelihood -75.135
    fitted = fit(lives([54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [(500, INF)] * 10))
    assert fitted.scale_years == pytest.approx(606.528, abs=5e-4)
    assert fitted.shape == pytest.approx(1.7208, abs=5e-5)
    assert fitted.log_likelihood == pytest.approx(-75.13462, abs=5e-6)  # digits by lifelines and scipy


SHOCK_FAILED = [6700, 9120, 12200, 13150, 14300, 17520, 20100, 20900, 22700, 26510, 27490]
SHOCK_MODES = np.array([1, 2, 1, 2, 1, 1, 2, 2, 1, 1, 1])
SHOCK_GOOD = [6950, 7820, 8790, 9660, 9820, 11310, 11690, 11850, 11880, 12140, 12870, 13330, 13470, 14040, 17540, 17890]
SHOCK_GOOD += [18450, 18960, 18980, 19410, 20100, 20150, 20320, 23490, 27410, 27890, 28100]


def test_shock_absorbers():
    # O'Connor 1985; Meeker and Escobar 1998, chapter 8 (MEM): mu 10.23 (0.1099), sigma 0.3164 (0.0732), log distance
    fitted = fit(lives(SHOCK_FAILED + [(one, INF) for one in SHOCK_GOOD]))
    assert fitted.estimate[0] == pytest.approx(10.22986, abs=5e-6)
    assert np.sqrt(fitted.covariance[0, 0]) == pytest.approx(0.10989, abs=5e-6)
    assert 1 / fitted.shape == pytest.approx(0.31641, abs=5e-6)
    assert np.sqrt(fitted.covariance[1, 1]) / fitted.shape == pytest.approx(0.07317, abs=5e-6)
    assert fitted.log_likelihood == pytest.approx(-123.9954, abs=5e-5)


@pytest.mark.parametrize(("mode", "scale", "shape"), [(1, 31205.8, 3.3839), (2, 40865.9, 2.8222)])  # lifelines
def test_shock_absorbers_by_mode(mode, scale, shape):
    others = [age for age, its in zip(SHOCK_FAILED, SHOCK_MODES, strict=True) if its != mode]
    failed = [age for age, its in zip(SHOCK_FAILED, SHOCK_MODES, strict=True) if its == mode]
    fitted = fit(lives(failed + [(one, INF) for one in SHOCK_GOOD + others]))
    assert fitted.scale_years == pytest.approx(scale, abs=0.05)
    assert fitted.shape == pytest.approx(shape, abs=5e-5)


# Nelson 1982, pp. 407-409; Meeker and Escobar 1998, p. 135: each wheel looked at once, hundreds of hours
WHEEL_HOURS = np.array([4, 10, 14, 18, 22, 26, 30, 34, 38, 42, 46], dtype=float)
CRACKED = [0, 4, 2, 7, 5, 9, 9, 6, 22, 21, 21]
WHOLE = [39, 49, 31, 66, 25, 30, 33, 7, 12, 19, 15]
WHEELS = lives([(0, h) for h in WHEEL_HOURS] + [(h, INF) for h in WHEEL_HOURS], CRACKED + WHOLE)


def test_turbine_wheels_each_seen_once():
    """Where a library without start values stops at a wrong point (scale 1.88, log likelihood -374.6)."""
    fitted = fit(WHEELS)
    # lifelines, scipy (given a start), surpyval, and a complementary log-log regression of statsmodels agree
    assert (fitted.scale_years, fitted.shape) == pytest.approx((46.7772, 2.17578), rel=2e-6)
    assert standard_errors(fitted) == pytest.approx([2.9908, 0.27082], rel=2e-5)
    assert fitted.log_likelihood == pytest.approx(-189.2872, abs=5e-5)
    assert fitted.failures == 106
    assert fitted.units == 432


def test_turbine_wheels_without_a_model():
    from scipy.optimize import isotonic_regression

    share = npmle(*WHEELS).share_at(WHEEL_HOURS)
    pooled = [0, 0.0698, 0.0698, 0.0959, 0.1667, 0.2222, 0.2222, 0.4615, 0.5811, 0.5811, 0.5833]
    assert share == pytest.approx(pooled, abs=5e-5)
    seen = np.add(CRACKED, WHOLE)
    assert share == pytest.approx(isotonic_regression(CRACKED / seen, weights=seen).x, abs=1e-8)


CRACKS = [5, 16, 12, 18, 18, 2, 6, 17, 73]


@pytest.mark.parametrize(
    ("edges", "scale", "shape", "log_likelihood"),
    [
        # Nelson 1982, p. 415: in months (MEM) scale 71.690, shape 1.485; in days, printed by a survival library's own
        # tests, log scale 7.6880, log sigma -0.3953, log likelihood -309.6
        ([0, 6.12, 19.92, 29.64, 35.40, 39.72, 45.24, 52.32, 63.48], 71.6904, 1.48537, -309.66841),
        ([0, 186, 606, 902, 1077, 1209, 1377, 1592, 1932], 2182.00, 1.48477, -309.6312),
    ],
)
def test_cracks_found_at_eight_inspections(edges, scale, shape, log_likelihood):
    fitted = fit(lives(list(zip(edges, [*edges[1:], INF], strict=True)), CRACKS))
    assert fitted.scale_years == pytest.approx(scale, rel=2e-6)
    assert fitted.shape == pytest.approx(shape, rel=4e-6)
    assert fitted.log_likelihood == pytest.approx(log_likelihood, abs=5e-5)
    share = npmle(*lives(list(zip(edges, [*edges[1:], INF], strict=True)), CRACKS)).share_at(np.array(edges[1:], float))
    assert share == pytest.approx(np.cumsum(CRACKS[:-1]) / 167, abs=1e-9)


@pytest.mark.parametrize(
    ("counts", "mean", "error"),
    [
        # Berkson 1966; Meeker and Escobar 1998, chapter 7 (MEM): theta and its standard error
        ([3, 7, 4, 1, 3, 2, 0, 0], 440.171, 101.00),
        ([41, 44, 24, 32, 29, 21, 9, 0], 572.274, 41.7195),
        ([292, 494, 332, 236, 261, 308, 73, 4], 612.773, 14.133),
        ([1609, 2424, 1770, 1306, 1213, 1528, 354, 16], 596.344, 6.0844),
    ],
)
def test_alpha_particles_with_the_shape_held(counts, mean, error):
    """Exponential: a prior that knows that the shape is 1."""
    edges = [0, 100, 300, 500, 700, 1000, 2000, 4000, INF]
    fitted = fit(lives(list(pairwise(edges)), counts), prior=Prior(FLAT, (0.0, 1e-7)))
    assert fitted.scale_years == pytest.approx(mean, abs=5e-4)
    assert standard_errors(fitted)[0] == pytest.approx(error, rel=5e-5)


def test_heat_exchanger_tubes_of_three_plants():
    # Meeker and Escobar 1998, chapter 3 (MEM): three plants of 100 tubes, looked at for 3, 2 and 1 years
    tubes = [(0, 1), (1, 2), (2, 3), (3, INF), (0, 1), (1, 2), (2, INF), (0, 1), (1, INF)]
    entry, good, failed, count = lives(tubes, [1, 2, 2, 95, 2, 3, 95, 1, 99])
    years = np.array([1.0, 2.0, 3.0])
    assert npmle(entry, good, failed, count).share_at(years) == pytest.approx([0.0133, 0.0384, 0.0582], abs=5e-5)
    assert list(at_risk(entry, good, failed, years - 0.5, count)) == [300, 197, 97]


def test_ball_bearings():
    # Lieblein and Zelen 1956: 23 bearings run to failure, millions of revolutions; scale 81.88, shape 2.102. The
    # ages are from memory (MEM); surpyval's fit of the set that it ships, load_bearing_failures, is 81.8746, 2.10185
    ages = [17.88, 28.92, 33.0, 41.52, 42.12, 45.6, 48.4, 51.84, 51.96, 54.12, 55.56, 67.8, 68.64, 68.64, 68.88, 84.12]
    fitted = fit(lives([*ages, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.4]))
    assert (fitted.scale_years, fitted.shape) == pytest.approx((81.8746, 2.10185), abs=5e-5)


# Doganaksoy and Nelson 1991; Meeker and Escobar 1998, chapter 16: days to the first replacement of the braking grids
# of each locomotive, two production batches; replacements in all and days watched in all
BATCH_1 = [462, 364, 302, 250, 500, 88, 272, 481, 431, 367, 635, 402, 33, 287, 317]
BATCH_2 = [203, 293, 173, 242, 39, 91, 119, 382, 250, 192, 369, 22, 54, 194, 61, 19, 187, 93]
ALL_REPLACED, ALL_DAYS = (24, 26), (10650, 8114)


def test_two_batches_differ_where_ages_are_aligned():
    from scipy.stats import binomtest

    entry, good, failed, count = lives(BATCH_1 + BATCH_2)
    second = np.repeat([False, True], [15, 18])
    assert log_rank(second, entry, good, failed, count).chi2 == pytest.approx(12.7913, abs=5e-5)  # lifelines
    # Cox regression without a baseline (lifelines): 4.19 times (coefficient 1.4331, standard error 0.4265). Weibull
    # lives give 3.19 (1.73 to 5.90 with nine in ten): the second batch is worst in its first months, and one shape for
    # both cannot bend to that. The published contrast lies within.
    fitted = fit((entry, good, failed, count), covariates=second[:, None].astype(float), names=("batch",))
    effect, error = fitted.effect("batch"), float(np.sqrt(fitted.covariance[2, 2]))
    assert np.exp(effect) == pytest.approx(3.1927, abs=5e-5)
    assert np.exp([effect - 1.645 * error, effect + 1.645 * error]) == pytest.approx([1.727, 5.902], abs=5e-4)
    assert effect - 1.645 * error < 1.4331 < effect + 1.645 * error
    # Replacements by day of running, whatever the age, do not tell the batches apart
    rates = binomtest(ALL_REPLACED[0], sum(ALL_REPLACED), ALL_DAYS[0] / sum(ALL_DAYS))
    assert rates.pvalue == pytest.approx(0.253, abs=5e-4)


def checked_lives(seed, n=400, *, late=False):
    """Units of two climates, each looked at three times, from a known life; with `late` watched from a later age on."""
    rng = np.random.default_rng(seed)
    covariates = (rng.random((n, 2)) < [0.35, 0.25]).astype(float)
    age = 15 * (rng.exponential(size=n) * np.exp(-covariates @ [0.9, -0.4])) ** (1 / rng.uniform(0.8, 3))
    entry = np.where(rng.random(n) < 0.5, rng.uniform(0, 6, n), 0.0) if late else np.zeros(n)
    looks = np.sort(np.round(entry[:, None] + rng.uniform(0.2, 14, (n, 3)), 2), axis=1)
    looks = np.column_stack([entry, looks, np.full(n, INF)])
    seen = (age > entry).nonzero()[0]
    last = (looks[seen] < age[seen, None]).sum(axis=1) - 1
    return entry[seen], looks[seen, last], looks[seen, last + 1], covariates[seen]


@pytest.mark.parametrize("seed", range(6))
def test_the_fit_against_a_survival_library(seed):
    """lifelines' accelerated lives are proportional hazards: an effect there is -effect / shape here."""
    pandas, lifelines = pytest.importorskip("pandas"), pytest.importorskip("lifelines")
    entry, good, failed, covariates = checked_lives(seed, late=seed % 2 == 1)
    ours = fit_weibull(entry, good, failed, covariates=covariates, names=("hot", "cold"))
    table = pandas.DataFrame({"good": good, "failed": failed, "hot": covariates[:, 0], "cold": covariates[:, 1]})
    table["entry"] = entry
    fitter = lifelines.WeibullAFTFitter()
    fitter.fit_interval_censoring(table, "good", "failed", entry_col="entry")
    shape = float(np.exp(fitter.params_["rho_"]["Intercept"]))
    theirs = fitter.params_["lambda_"]
    assert ours.log_likelihood == pytest.approx(fitter.log_likelihood_, abs=1e-6)
    expected = [theirs["Intercept"], np.log(shape), -shape * theirs["hot"], -shape * theirs["cold"]]
    assert ours.estimate == pytest.approx(expected, abs=1e-4)


def test_real_ages_known_to_years_or_to_the_day():
    """731 times to a complication, most of them exact (in lifelines' data sets), by its univariate fit."""
    lifelines, datasets = pytest.importorskip("lifelines"), pytest.importorskip("lifelines.datasets")
    table = datasets.load_diabetes()
    good, failed = table["left"].to_numpy(float), table["right"].to_numpy(float)
    fitter = lifelines.WeibullFitter().fit_interval_censoring(good, failed)
    ours = fit_weibull(np.zeros(len(good)), good, failed)
    assert ours.log_likelihood == pytest.approx(fitter.log_likelihood_, abs=1e-6)
    assert (ours.scale_years, ours.shape) == pytest.approx((fitter.lambda_, fitter.rho_), abs=1e-4)
