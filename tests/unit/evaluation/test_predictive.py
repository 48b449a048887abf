"""The predictive probability against quadrature, an independent simulation and closed cases."""

import random
from math import sqrt
from statistics import fmean, stdev

import numpy as np
import pytest
from scipy import stats

from assistant.evaluation.predictive import TRIALS, from_components, from_sample
from assistant.evaluation.variance import one_way


def stage_1_by_quadrature(mean: float, sd: float, n: int, target: float = 100.0) -> float:
    """P(AV of 10 further units <= 15), integrated over sigma and over their own SD.

    Given sigma the further mean is normal with variance sigma^2 (1/n + 1/10), independent of its
    SD, so only two integrals are left; no random number takes part.
    """
    high = max(101.5, target)

    def given(t: float, u: float) -> float:
        sigma = sd * sqrt((n - 1) / stats.chi2.ppf(u, n - 1))
        room = 15.0 - 2.4 * sigma * sqrt(stats.chi2.ppf(t, 9) / 9)
        if room <= 0:
            return 0.0
        wide = sigma * sqrt(1 / n + 1 / 10)
        return float(
            stats.norm.cdf((high + room - mean) / wide)
            - stats.norm.cdf((98.5 - room - mean) / wide)
        )

    nodes, weights = np.polynomial.legendre.leggauss(24)
    nodes, weights = (nodes + 1) / 2, weights / 2
    return float(
        sum(
            wt * wu * given(t, u)
            for t, wt in zip(nodes, weights, strict=True)
            for u, wu in zip(nodes, weights, strict=True)
        )
    )


@pytest.mark.parametrize(
    ("mean", "sd", "n", "target"),
    [
        (97.0, 4.5, 10, 100.0),
        (100.0, 6.0, 30, 100.0),
        (94.0, 3.0, 10, 100.0),
        (106.0, 5.0, 10, 105.0),
    ],
)
def test_stage_1_agrees_with_quadrature(mean: float, sd: float, n: int, target: float) -> None:
    """Within three standard errors of the simulation; the quadrature is good to 0.001."""
    found = from_sample(mean, sd, n, target)
    exact = stage_1_by_quadrature(mean, sd, n, target)
    error = sqrt(exact * (1 - exact) / TRIALS)
    assert found.stage_1 == pytest.approx(exact, abs=3 * error + 0.001)
    assert 0.1 < exact < 0.99


def passes(units: list[float]) -> bool:
    """Both stages of the test, in plain arithmetic."""
    for count, k in ((10, 2.4), (30, 2.0)):
        taken = units[:count]
        mean = fmean(taken)
        m = min(max(mean, 98.5), 101.5)
        met = abs(m - mean) + k * stdev(taken) <= 15.0
        if count == 30:
            met = met and 0.75 * m <= min(taken) and max(taken) <= 1.25 * m
        if met:
            return True
    return False


def test_the_whole_test_agrees_with_another_simulation() -> None:
    """With the standard library's random numbers and its own formulas, from mean squares."""
    draw = random.Random(3)  # noqa: S311 - a simulation
    groups = [[96 + 5 * draw.gauss(0, 1) + 3 * e for e in (-1.0, 0.2, 0.8)] for _ in range(8)]
    table = one_way(groups)
    trials, met = 4000, 0
    for _ in range(trials):
        msb = 7 * table.ms_between / draw.gammavariate(3.5, 2)
        msw = 16 * table.ms_within / draw.gammavariate(8, 2)
        sigma = sqrt(msw + max(0.0, (msb - msw) / 3))
        mu = table.mean + sqrt(msb / 24) * draw.gauss(0, 1)
        met += passes([draw.gauss(mu, sigma) for _ in range(30)])
    found = from_components(table)
    share = met / trials
    error = sqrt(share * (1 - share) * (1 / trials + 1 / TRIALS))
    assert found.passes == pytest.approx(share, abs=3 * error)
    assert 0.1 < share < 0.9
    assert not found.approximate


def test_closed_cases() -> None:
    """Equal results on target pass for certain, far ones never; the same call gives the same."""
    assert from_sample(100.0, 0.0, 10).passes == 1.0
    assert from_sample(60.0, 0.0, 10).passes == 0.0
    assert from_sample(97.0, 5.0, 10) == from_sample(97.0, 5.0, 10)
    flat = one_way([[100.0, 100.0], [100.0, 100.0]])
    assert from_components(flat).passes == 1.0


def test_more_stages_and_more_results_help() -> None:
    """Two stages pass at least as often as one; a mean at T more often than one off it."""
    found = from_sample(96.0, 5.0, 10)
    assert found.passes >= found.stage_1
    assert from_sample(106.0, 5.0, 10, 106.0).passes > from_sample(106.0, 5.0, 10).passes
    assert found.error == pytest.approx(sqrt(found.passes * (1 - found.passes) / TRIALS))


def test_unequal_numbers_are_approximate() -> None:
    """Unweighted location means are then used, and it is said."""
    found = from_components(one_way([[99.0, 101.0, 100.0], [98.0, 100.0], [101.0, 103.0]]))
    assert found.approximate
