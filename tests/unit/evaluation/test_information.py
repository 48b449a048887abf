"""Screening and trends: information with known answers, never a deletion."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from assistant.evaluation.results import Result
from assistant.evaluation.screening import (
    deviations_from_location,
    farthest,
    grubbs_critical,
    normality,
)
from assistant.evaluation.simulated_assays import Truth, regular_vials, results
from assistant.evaluation.trends import MEANS, PORTS, REPLICATES, correlation, holm, trends

MADE = results(regular_vials(10, 3), Truth(between_sd=2.0, within_sd=1.0), seed=11)


def test_normality_is_shapiro_wilk() -> None:
    """Statistic and p are scipy's, on the values themselves."""
    values = [result.assay for result in MADE]
    found = normality(values)
    expected = stats.shapiro(values)
    assert found is not None
    assert [found.w, found.p] == pytest.approx([expected.statistic, expected.pvalue], rel=1e-9)


def test_screening_needs_values_that_vary() -> None:
    """Two values, or values all equal, cannot be screened."""
    assert normality([1.0, 2.0]) is None
    assert normality([1.0] * 5) is None
    assert farthest([1.0, 2.0]) is None
    assert farthest([1.0] * 5) is None


def test_grubbs_critical_values() -> None:
    """Two-sided 5 % values for n = 8 and 10, from memory: 2.126 and 2.290."""
    assert grubbs_critical(8) == pytest.approx(2.126, abs=1e-3)
    assert grubbs_critical(10) == pytest.approx(2.290, abs=1e-3)
    assert grubbs_critical(10) != pytest.approx(grubbs_critical(8), abs=1e-3)


def test_the_farthest_value_is_named_and_kept() -> None:
    """A wild value is suspect, an ordinary one is not; the sequence stays whole."""
    values = [99.0, 100.0, 101.0, 99.5, 100.5, 120.0, 100.2]
    wild, calm = farthest(values), farthest(values[:5])
    assert wild is not None
    assert calm is not None
    assert (wild.index, wild.value, wild.suspect, calm.suspect) == (5, 120.0, True, False)
    assert len(values) == 7


def test_deviations_are_about_each_location_mean() -> None:
    """Every location's deviations add to nothing."""
    assert deviations_from_location([[1.0, 3.0], [10.0]]) == (-1.0, 1.0, 0.0)


def test_a_depth_effect_put_in_is_found_between_ports() -> None:
    """2 % per 100 mm comes back as 0.02 per mm, with the other factors quiet."""
    vials = regular_vials(10, 3, 2)
    made = results(vials, Truth(between_sd=3.0, within_sd=0.5, depth_slope=2.0), seed=3, decimals=6)
    found = {trend.factor: trend for trend in trends(made)}
    depth = found["port depth"]
    assert set(found) == {"port depth", "shaft position", "insertion order"}
    assert (depth.basis, depth.n, depth.df) == (PORTS, 20, 9)
    assert depth.slope == pytest.approx(0.02, rel=0.05)
    assert depth.effect == pytest.approx(6.0, rel=0.05)
    assert depth.p_adjusted < 1e-6
    assert depth.r_low is not None
    assert depth.r_high is not None
    assert depth.r_low < depth.r < depth.r_high
    assert found["shaft position"].p_adjusted > 0.05
    assert (found["shaft position"].basis, found["shaft position"].df) == (REPLICATES, 39)
    assert found["insertion order"].basis == MEANS


SHAPES = ((10, 3, 1), (10, 1, 2), (10, 3, 2), (15, 2, 1), (20, 1, 3))
"""Locations, positions and ports of the shipped plans and of what else a plan can ask for."""


@pytest.mark.slow
@pytest.mark.parametrize(("locations", "positions", "ports"), SHAPES)
@pytest.mark.parametrize(("between", "spot", "within"), [(2.0, 0.0, 0.7), (0.5, 2.0, 0.5)])
def test_a_trend_that_is_not_there_is_found_in_one_of_twenty(  # noqa: PLR0917 - one design, one line
    locations: int, positions: int, ports: int, between: float, spot: float, within: float
) -> None:
    """Each factor alone at 5 % over 300 seeded studies whose locations and spots differ.

    The standard error is 1.3 %; three of them are allowed above and below.
    """
    generator = np.random.default_rng(locations * 100 + positions * 10 + ports)
    vials = regular_vials(locations, positions, ports)
    runs, wrong = 300, Counter[str]()
    for _ in range(runs):
        places = {v.location: generator.normal(100.0, between) for v in vials}
        spots = {v.spot: generator.normal(0.0, spot) for v in vials}
        made = []
        for place in vials:
            vial = replace(
                place,
                mass_mg=float(generator.uniform(400, 600)),
                open_seconds=float(generator.uniform(4, 9)),
                depth_mm=(place.depth_mm or 0.0) + 10.0 * int(place.location[1:]) ** 1.5,
            )
            assay = places[place.location] + spots[place.spot] + generator.normal(0.0, within)
            made.append(Result.of(vial, assay, vial.mass_mg))
        for trend in trends(made):
            wrong[trend.factor] += trend.p <= 0.05
    slack = 3 * (0.05 * 0.95 / runs) ** 0.5
    assert wrong
    for factor, count in wrong.items():
        assert abs(count / runs - 0.05) <= slack, factor


def test_within_location_trend_is_the_regression_with_location_terms() -> None:
    """Slope and p equal those of least squares with an intercept for each location."""
    generator = np.random.default_rng(8)
    made = [replace(r, mass_mg=float(generator.uniform(400, 600))) for r in MADE]
    trend = next(t for t in trends(made) if t.factor == "sample mass")
    names = sorted({r.location for r in made})
    design = np.asarray([[r.mass_mg, *(r.location == n for n in names)] for r in made], dtype=float)
    y = np.asarray([r.assay for r in made])
    beta, residual, *_ = np.linalg.lstsq(design, y, rcond=None)
    df = len(y) - design.shape[1]
    error = np.sqrt(residual[0] / df * np.linalg.inv(design.T @ design)[0, 0])
    assert trend.df == df
    assert trend.slope == pytest.approx(float(beta[0]), rel=1e-9)
    assert trend.p == pytest.approx(2 * stats.t.sf(abs(beta[0] / error), df), rel=1e-7)


def test_trend_on_location_means_is_plain_correlation() -> None:
    """For the insertion order r, p and rank correlation are scipy's on the ten means."""
    trend = next(t for t in trends(MADE) if t.factor == "insertion order")
    means = [np.mean([r.assay for r in MADE if r.insertion_order == i]) for i in range(1, 11)]
    expected = stats.pearsonr(range(1, 11), means)
    interval = expected.confidence_interval(0.95)
    assert [trend.r, trend.p] == pytest.approx([expected.statistic, expected.pvalue], rel=1e-9)
    assert [trend.r_low, trend.r_high] == pytest.approx([interval.low, interval.high], rel=1e-9)
    rank = stats.spearmanr(range(1, 11), means).statistic
    assert trend.rank_r == pytest.approx(rank, rel=1e-9)


def line(assays: list[float], order: list[int | None]) -> list[Result]:
    """One result per location with the given insertion orders."""
    return [
        Result(str(i), f"L{i}", 1, 1, None, k, None, None, assay=y)
        for i, (y, k) in enumerate(zip(assays, order, strict=True))
    ]


def test_factors_that_cannot_be_compared_are_left_out() -> None:
    """Unknown, constant, too few, or an assay that does not vary: no trend."""
    assert trends(line([99.0, 100.0, 101.0], [1, 2, 3])) == ()
    assert trends(line([99.0, 100.0, 98.0, 97.0], [None] * 4)) == ()
    assert trends(line([99.0] * 5, [1, 2, 3, 4, 5])) == ()


def test_a_perfect_line_has_no_interval() -> None:
    """A correlation of 1 has p = 0 and no Fisher limits."""
    (trend,) = trends(line([1.0, 2.0, 3.0, 4.0, 5.0], [1, 2, 3, 4, 5]))
    assert (trend.r, trend.p, trend.r_low, trend.r_high, trend.rank_r) == (
        1.0,
        0.0,
        None,
        None,
        1.0,
    )


def test_a_side_that_does_not_vary_has_no_correlation() -> None:
    """Differences of rounding size are no variation."""
    x = np.asarray([0.0, 0.0, 0.0, 1e-14])
    assert correlation(x, np.asarray([1.0, -1.0, 1.0, -1.0])) is None


def test_holm_adjustment() -> None:
    """Textbook case: 0.01, 0.04, 0.03 become 0.03, 0.06, 0.06; never above 1."""
    assert holm([0.01, 0.04, 0.03]) == pytest.approx((0.03, 0.06, 0.06))
    assert holm([0.9, 0.8]) == (1.0, 1.0)
    assert holm([]) == ()
