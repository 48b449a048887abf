"""Simulation: do the intervals cover, does the joint region hold its confidence?

Every check draws studies from the one-way normal model, runs the very formulas of the report on
arrays and compares the share of covering intervals with the nominal level, within Monte-Carlo
error (3.5 standard errors; with the fixed seeds each check is repeatable). Conservative and
liberal methods are held to their known side.
"""

from dataclasses import dataclass

import numpy as np
import pytest

from assistant.evaluation.e2810 import region_factors
from assistant.evaluation.intervals import (
    Layout,
    chi2_limits,
    component_intervals,
    graybill_wang_upper,
    icc_limits,
    mls_limits,
    satterthwaite_df,
    satterthwaite_limits,
    total_variance,
)
from assistant.evaluation.quantiles import Floats
from assistant.evaluation.variance import one_way

RUNS = 40_000
LEVEL = 0.95
ERROR = 3.5 * (LEVEL * (1 - LEVEL) / RUNS) ** 0.5


@dataclass(frozen=True)
class Simulated:
    """Mean squares of many studies of one design, at a total variance of 1."""

    icc: float
    layout: Layout
    msb: Floats
    msw: Floats


def simulate(locations: int, replicates: int, icc: float) -> Simulated:
    """Draw the studies value by value and form their mean squares."""
    generator = np.random.default_rng([locations, replicates, int(100 * icc)])
    effects = icc**0.5 * generator.standard_normal((RUNS, locations, 1))
    noise = generator.standard_normal((RUNS, locations, replicates))
    x = effects + (1.0 - icc) ** 0.5 * noise
    means = x.mean(axis=2)
    df = locations * (replicates - 1)
    return Simulated(
        icc,
        Layout(locations - 1, df, replicates),
        replicates * means.var(axis=1, ddof=1),
        ((x - means[..., None]) ** 2).sum(axis=(1, 2)) / df,
    )


DESIGNS = [(6, 5, 0.4), (10, 3, 0.1), (10, 3, 0.5), (10, 3, 0.9), (20, 2, 0.3)]


@pytest.fixture(scope="module", params=DESIGNS, ids=str)
def studies(request: pytest.FixtureRequest) -> Simulated:
    """Forty thousand studies of one design."""
    return simulate(*request.param)


def share(limits: tuple[Floats, Floats], truth: float) -> float:
    """Share of intervals that contain the truth."""
    low, high = limits
    return float(((low <= truth) & (truth <= high)).mean())


def test_within_variance_is_exact(studies: Simulated) -> None:
    """Chi-squared limits cover at their level, and limits at 93 % do not."""
    truth = 1.0 - studies.icc
    df = studies.layout.df_within
    assert share(chi2_limits(studies.msw, df, LEVEL), truth) == pytest.approx(LEVEL, abs=ERROR)
    assert share(chi2_limits(studies.msw, df, 0.93), truth) != pytest.approx(LEVEL, abs=ERROR)


def test_intraclass_correlation_is_exact(studies: Simulated) -> None:
    """F limits cover at their level; cutting at zero does not harm a positive truth."""
    f = studies.msb / studies.msw
    assert share(icc_limits(f, studies.layout, LEVEL), studies.icc) == pytest.approx(
        LEVEL, abs=ERROR
    )


def test_between_variance_covers_within_a_third_of_a_percent(studies: Simulated) -> None:
    """MLS limits: .9495 to .9505 in 200 000 runs elsewhere; the remembered formula is right."""
    found = share(mls_limits(studies.msb, studies.msw, studies.layout, LEVEL), studies.icc)
    assert found == pytest.approx(LEVEL, abs=ERROR + 0.001)


def test_total_variance_by_satterthwaite_is_near_its_level(studies: Simulated) -> None:
    """Known to be slightly liberal when the locations dominate: .940 to .957."""
    total = total_variance(studies.msb, studies.msw, studies.layout.replicates)
    df = satterthwaite_df(studies.msb, studies.msw, studies.layout)
    assert 0.93 < share(satterthwaite_limits(total, df, LEVEL), 1.0) < 0.965


def test_upper_limit_of_the_total_is_conservative(studies: Simulated) -> None:
    """Graybill & Wang cover at least at their level: .951 to .976."""
    upper = graybill_wang_upper(studies.msb, studies.msw, studies.layout, LEVEL)
    assert LEVEL - ERROR <= float((upper >= 1.0).mean()) < 0.985


@pytest.mark.parametrize(
    ("design", "expected"), list(zip(DESIGNS[:4], (0.969, 0.976, 0.964, 0.951), strict=True))
)
def test_upper_limit_covers_as_computed_elsewhere(
    design: tuple[int, int, float], expected: float
) -> None:
    """Regression: coverage of 200 000 runs of an independent script."""
    found = simulate(*design)
    upper = graybill_wang_upper(found.msb, found.msw, found.layout, LEVEL)
    assert float((upper >= 1.0).mean()) == pytest.approx(expected, abs=0.0045)


@pytest.mark.slow
@pytest.mark.parametrize("icc", [0.2, 0.8])
def test_unequal_replicates_stay_near_the_level(icc: float) -> None:
    """Unweighted means on 2 to 5 replicates: approximate, and within one percent."""
    sizes = (2, 3, 3, 4, 5, 3, 2, 3, 4, 3)
    generator = np.random.default_rng(7)
    runs, hits = 2000, 0
    for _ in range(runs):
        groups = [
            [round(float(v), 3) for v in effect + (1 - icc) ** 0.5 * generator.standard_normal(n)]
            for effect, n in zip(icc**0.5 * generator.standard_normal(10), sizes, strict=True)
        ]
        between = component_intervals(one_way(groups), LEVEL).between
        assert between.lower is not None
        hits += between.lower <= icc <= between.upper
    assert hits / runs == pytest.approx(LEVEL, abs=0.01 + 3.5 * (0.05 * 0.95 / runs) ** 0.5)


@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95])
def test_region_of_plan_1_holds_its_confidence(confidence: float) -> None:
    """(mu, sigma) lies in the triangle as often as stated."""
    x = np.random.default_rng(3).standard_normal((RUNS, 10))
    ratio, half = region_factors(10, confidence)
    sigma_upper = ratio * x.std(axis=1, ddof=1)
    # sigma = 1 must lie below sigma_U and mu = 0 within z sigma / sqrt n of the mean.
    inside = (sigma_upper >= 1.0) & (np.abs(x.mean(axis=1)) <= half)
    error = 3.5 * (confidence * (1 - confidence) / RUNS) ** 0.5
    assert float(inside.mean()) == pytest.approx(confidence, abs=error)
    assert float(inside.mean()) != pytest.approx(confidence**0.5, abs=error)
