"""USP <905>, the 2003 and 2014 criteria and the E2810 limits against published and other values."""

import itertools

import numpy as np
import pytest
from scipy import integrate, stats

from assistant.evaluation import e2810
from assistant.evaluation.acceptance_value import L1, acceptance_value, high_reference, reference
from assistant.evaluation.descriptive import summarise
from assistant.evaluation.e2810 import Demand, av_probability, pass_bound, plan_1, sd_limits
from assistant.evaluation.schemes import Verdict, dosage_units, industry
from assistant.evaluation.withdrawn_fda_2003 import blend


def with_moments(n: int, mean: float, sd: float) -> list[float]:
    """N values of exactly this mean and sample standard deviation (to rounding)."""
    raw = np.linspace(-1.0, 1.0, n)
    return [float(x) for x in mean + sd * (raw - raw.mean()) / raw.std(ddof=1)]


def stage_1(mean: float, sd: float) -> Verdict:
    """Verdict of USP <905> on ten units of these moments."""
    values = with_moments(10, mean, sd)
    return dosage_units(values, values).verdict


def test_usp_faq_example() -> None:
    """USP's FAQ on <905>: mean 105.9, SD 5.0, n = 10 gives M 101.5, AV 16.4, 76.125 to 126.875."""
    av = acceptance_value(105.9, 5.0, 10)
    assert av.reference == 101.5
    assert av.value == pytest.approx(16.4, abs=1e-12)
    assert (av.unit_low, av.unit_high) == (76.125, 126.875)
    assert stage_1(105.9, 5.0) is Verdict.MORE


def test_usp_faq_example_fails_for_another_k() -> None:
    """The twin: with the k of thirty units the example's value is missed."""
    assert acceptance_value(105.9, 5.0, 30).value != pytest.approx(16.4, abs=1e-12)


@pytest.mark.parametrize(
    ("mean", "sd", "n", "target", "expected"),
    [
        (97.0, 4.0, 10, 100.0, 11.1),
        (100.0, 6.25, 10, 100.0, 15.0),
        (97.3, 3.1, 30, 100.0, 7.4),
        (102.5, 3.0, 10, 103.0, 7.2),
        (104.0, 3.0, 10, 103.0, 8.2),
    ],
)
def test_acceptance_values(mean: float, sd: float, n: int, target: float, expected: float) -> None:
    """Regression values of the acceptance value, with T above 101.5 among them."""
    assert acceptance_value(mean, sd, n, target).value == pytest.approx(expected, abs=1e-9)


def test_acceptance_value_of_ten_whole_numbers() -> None:
    """95, 96, ... 104: mean 99.5, s 3.02765, AV 7.26636 (regression)."""
    summary = summarise(range(95, 105))
    assert summary.sd == pytest.approx(3.02765, abs=5e-6)
    assert acceptance_value(summary.mean, summary.sd or 0.0, 10).value == pytest.approx(
        7.26636, abs=5e-6
    )


def test_stage_1_limit_is_inclusive() -> None:
    """AV exactly 15.0 passes stage 1; 15.1 does not."""
    assert stage_1(100.0, 6.25) is Verdict.MET
    assert stage_1(100.0, 6.2917) is Verdict.MORE


def test_2003_blend_limits_are_inclusive_and_unrounded() -> None:
    """Withdrawn draft, section V: RSD 5.0 and distance 10.0 pass, RSD 5.01 fails."""
    exact = [90.0, 110.0, *[100.0] * 7, 100.0]
    assert summarise(exact).largest_deviation == 10.0
    assert blend(exact).verdict is Verdict.MET
    assert blend(with_moments(10, 100.0, 5.0)).verdict is Verdict.MET
    assert blend(with_moments(10, 100.0, 5.01)).verdict is Verdict.FAIL
    assert blend([89.9, 110.0, *[100.0] * 8]).verdict is Verdict.FAIL


@pytest.mark.parametrize(
    ("sd", "verdict"),
    [
        (3.0, Verdict.MET),
        (3.04, Verdict.MET),
        (3.05, Verdict.TIGHTENED),
        (3.2, Verdict.TIGHTENED),
        (5.04, Verdict.TIGHTENED),
        (5.1, Verdict.INVESTIGATE),
    ],
)
def test_industry_limits_on_thirty(sd: float, verdict: Verdict) -> None:
    """Industry recommendation: SD 3.0 passes, 3.2 is tightened, 5.1 is investigated.

    Between them the SD is rounded to one decimal, half up, which is this program's stated rule.
    """
    values = with_moments(30, 100.0, sd)
    groups = [values[i : i + 3] for i in range(0, 30, 3)]
    assert industry(groups, [group[0] for group in groups]).verdict is verdict


def test_industry_stage_1_on_ten() -> None:
    """SD 3.0 of ten passes stage 1; 3.1 asks for the other replicates."""
    for sd, verdict in ((3.0, Verdict.MET), (3.1, Verdict.MORE)):
        values = with_moments(10, 100.0, sd)
        assert industry([[x] for x in values], values).verdict is verdict


def test_published_acceptance_limit() -> None:
    """Lewis & Fan 2016: n = 10, mean 97, 90 % confidence, 95 % coverage: s up to 2.63."""
    limit = float(sd_limits(10, 97.0, 0.90))
    assert round(limit, 2) == 2.63
    assert limit == pytest.approx(2.6310, abs=5e-5)
    bound = plan_1(97.0, 2.63, 10)
    assert bound.accepted
    assert not plan_1(97.0, 2.64, 10).accepted
    assert [bound.mean_low, bound.mean_high] == pytest.approx([94.344, 99.656], abs=5e-4)
    assert bound.sigma_upper == pytest.approx(4.3094, abs=5e-5)
    assert bound.probability == pytest.approx(0.95038, abs=5e-6)


def test_published_limit_is_missed_with_the_confidence_unsplit() -> None:
    """The twin: at another confidence the published figure is not met."""
    assert round(float(sd_limits(10, 97.0, 0.95)), 2) != 2.63


MEANS = (90.0, 95.0, 97.0, 98.5, 100.0, 102.0, 105.0)
LIMITS = {
    (0.90, 10): (1.2673, 2.2419, 2.6310, 2.9222, 3.2090, 2.8235, 2.2415),
    (0.90, 30): (1.7733, 3.1367, 3.6803, 4.0864, 4.4751, 3.9474, 3.1358),
    (0.90, 60): (1.9935, 3.5259, 4.1364, 4.5915, 4.9985, 4.4351, 3.5246),
    (0.95, 10): (1.1073, 1.9590, 2.2992, 2.5538, 2.8052, 2.4678, 1.9588),
    (0.95, 30): (1.6560, 2.9292, 3.4371, 3.8166, 4.1849, 3.6870, 2.9285),
    (0.95, 60): (1.9025, 3.3651, 3.9479, 4.3828, 4.7849, 4.2336, 3.3639),
}


@pytest.mark.parametrize(("key", "expected"), LIMITS.items())
def test_acceptance_limit_table(key: tuple[float, int], expected: tuple[float, ...]) -> None:
    """Regression table, computed with a separately written implementation."""
    confidence, n = key
    found = sd_limits(n, MEANS, confidence)
    np.testing.assert_allclose(found, expected, rtol=0, atol=6e-5)
    assert np.abs(found[1:] - found[:-1]).min() > 1e-3  # neighbours in the table are told apart


@pytest.mark.parametrize(
    ("mu", "sigma", "expected"),
    [(100, 4, 0.98864), (97, 4, 0.94273), (100, 6, 0.57718)],
)
def test_stage_1_probability(mu: float, sigma: float, expected: float) -> None:
    """Regression values of P(S1)."""
    assert float(av_probability(mu, sigma, 10)) == pytest.approx(expected, abs=5e-6)


BOUNDS = {
    (100, 6): (0.96436, 0.9714),
    (95, 4): (0.99672, 0.9973),
    (94, 5): (0.64195, 0.7046),
    (103, 5): (0.98534, 0.9890),
    (100, 7): (0.68034, 0.7413),
}


@pytest.mark.parametrize(("point", "expected"), BOUNDS.items())
def test_bound_lies_below_the_simulated_probability(
    point: tuple[float, float], expected: tuple[float, float]
) -> None:
    """Regression values of the bound; 200 000 simulated two-stage tests pass more often."""
    mu, sigma = point
    bound = float(pass_bound(mu, sigma))
    assert bound == pytest.approx(expected[0], abs=6e-6)
    x = np.random.default_rng(2810).normal(mu, sigma, (200_000, 30))
    first = x[:, :10]
    m1, m2 = first.mean(axis=1), x.mean(axis=1)
    s1 = np.abs(reference(m1) - m1) + 2.4 * first.std(axis=1, ddof=1) <= L1
    m = reference(m2)
    s2 = np.abs(m - m2) + 2.0 * x.std(axis=1, ddof=1) <= L1
    s2 &= (x.min(axis=1) >= 0.75 * m) & (x.max(axis=1) <= 1.25 * m)
    share = float((s1 | s2).mean())
    error = (share * (1.0 - share) / len(x)) ** 0.5
    assert bound <= share + 3.0 * error
    assert share == pytest.approx(expected[1], abs=0.002)


def by_quadrature(mu: float, sigma: float, units_: int, target: float = 100.0) -> float:
    """P(AV <= 15) the other way: adaptive quadrature over the mean, chi-squared inside."""
    k, top = {10: 2.4, 30: 2.0}[units_], high_reference(target)

    def integrand(x: float) -> float:
        room = max(0.0, L1 - abs(float(reference(x, target)) - x))
        chi = stats.chi2.cdf((units_ - 1) * (room / (k * sigma)) ** 2, units_ - 1)
        return float(stats.norm.pdf(x, mu, sigma / units_**0.5) * chi)

    reach = 9.0 * sigma / units_**0.5
    low, high = max(98.5 - L1, mu - reach), min(top + L1, mu + reach)
    cuts = [low, *sorted(c for c in {98.5, top, mu} if low < c < high), high]
    parts = [
        integrate.quad(integrand, a, b, epsabs=1e-12, epsrel=1e-11, limit=200)[0]
        for a, b in itertools.pairwise(cuts)
    ]
    return float(sum(parts))


def quadrature_bound(mu: float, sigma: float) -> float:
    """The passing bound from adaptive quadrature."""
    window = stats.norm.cdf(123.125, mu, sigma) - stats.norm.cdf(76.125, mu, sigma)
    second = by_quadrature(mu, sigma, 30) + float(window) ** 30 - 1.0
    return max(by_quadrature(mu, sigma, 10), second, 0.0)


@pytest.mark.parametrize("n", [5, 17, 60, 500])
@pytest.mark.parametrize("mean", [91.0, 96.5, 100.0, 108.5])
@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95])
def test_limits_agree_with_adaptive_quadrature(n: int, mean: float, confidence: float) -> None:
    """At 1e-4 below the limit quadrature accepts, at 1e-4 above it refuses."""
    limit = float(sd_limits(n, mean, confidence))
    ratio, half = (float(x) for x in e2810.region_factors(n, confidence))

    def accepted(sd: float) -> bool:
        sigma = sd * ratio
        corners = (mean - half * sigma, mean + half * sigma)
        return min(quadrature_bound(mu, sigma) for mu in corners) >= 0.95

    assert accepted(limit - 1e-4)
    assert not accepted(limit + 1e-4)


def test_coverage_and_target_move_the_limit_the_right_way() -> None:
    """More coverage lowers the limit; a target above 101.5 % raises it on its side."""
    base = plan_1(103.0, 2.0, 10).sd_limit
    assert base is not None
    assert (plan_1(103.0, 2.0, 10, Demand(coverage=0.99)).sd_limit or 0.0) < base
    assert (plan_1(103.0, 2.0, 10, Demand(target=105.0)).sd_limit or 0.0) > base
