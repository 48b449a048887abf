"""Batches side by side: tests against scipy, chart limits against their constants."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from assistant.errors import InputError
from assistant.evaluation.campaign import (
    CHART_RISK,
    Batch,
    Campaign,
    brown_forsythe,
    compare,
    mean_chart,
    sd_chart,
    unbiasing,
)
from assistant.evaluation.results import assays
from assistant.evaluation.simulated_assays import Truth, regular_vials, results
from assistant.evaluation.trends import holm

VIALS = regular_vials(10, 3)
TRUTHS = (Truth(), Truth(mean=99.0), Truth(within_sd=4.0))
BATCHES = tuple(
    Batch(name, results(VIALS, truth, seed))
    for seed, (name, truth) in enumerate(zip("ABC", TRUTHS, strict=True))
)


def test_brown_forsythe_is_scipys() -> None:
    """It agrees with scipy to twelve digits."""
    groups = [assays(batch.results) for batch in BATCHES]
    found = brown_forsythe("median", groups)
    expected = stats.levene(*groups, center="median")
    assert found is not None
    assert (found.df_between, found.df_within) == (2, 87)
    assert [found.statistic, found.p] == pytest.approx(
        [expected.statistic, expected.pvalue], rel=1e-12
    )


def test_brown_forsythe_needs_a_spread_that_varies() -> None:
    """Pairs, or values all equal, have one distance each: no test."""
    assert brown_forsythe("x", [[1.0, 2.0], [3.0, 4.0]]) is None
    assert brown_forsythe("x", [[1.0] * 4, [2.0] * 4]) is None


def test_a_wider_batch_is_seen_and_means_are_compared_by_location() -> None:
    """Four times the spread within the locations of C stands out where it is, and only there."""
    campaign = compare(BATCHES)
    assert [batch.name for batch in campaign.batches] == ["A", "B", "C"]
    assert campaign.means.sizes == (10, 10, 10)
    between, within = campaign.spread
    assert (between.df_within, within.df_within) == (27, 27)
    assert within.p < 1e-4
    assert campaign.batches[2].table is not None
    names = ["batch mean", "SD of location means", "SD within locations"]
    assert [chart.name for chart in campaign.charts] == names
    assert "C" in campaign.charts[2].outside


def test_the_test_within_locations_is_scipys() -> None:
    """One-way analysis of the SDs at the spots, with ports and unequal numbers of replicates."""
    vials = regular_vials(6, 3, 2)
    kept = [results(vials, Truth(), seed)[seed % 2 :: 1] for seed in (1, 2, 3)]
    campaign = compare([Batch(str(n), made) for n, made in enumerate(kept)])
    groups = []
    for made in kept:
        spots: dict[tuple[str, int], list[float]] = {}
        for one in made:
            spots.setdefault((one.location, one.port), []).append(one.assay)
        groups.append([np.std(v, ddof=1) / unbiasing(len(v)) for v in spots.values() if len(v) > 1])
    expected = stats.f_oneway(*groups)
    within = campaign.spread[1]
    assert [within.statistic, within.p] == pytest.approx([expected.statistic, expected.pvalue])


def test_batches_without_replicates_or_variation_are_compared_as_far_as_they_go() -> None:
    """One result per location gives no components; equal values no tests of spread."""
    flat = [
        Batch(name, tuple(replace(r, assay=assay) for r in BATCHES[0].results[::3]))
        for name, assay in (("A", 99.0), ("B", 101.0))
    ]
    campaign = compare(flat)
    assert campaign.batches[0].table is None
    assert campaign.spread == ()
    assert campaign.means.ms_between == 20.0


@pytest.mark.parametrize(
    ("batches", "words"),
    [
        (BATCHES[:1], "One batch only"),
        ((BATCHES[0], BATCHES[0]), "same batch name"),
        ((BATCHES[0], Batch("B", ())), "no results"),
        ((BATCHES[0], Batch("B", BATCHES[1].results[:3])), "one location"),
    ],
)
def test_comparisons_that_cannot_be_made(batches: tuple[Batch, ...], words: str) -> None:
    """One batch, a name twice, a batch without a verdict."""
    with pytest.raises(InputError, match=words):
        compare(batches)


def test_c4_is_that_of_the_tables() -> None:
    """As printed in every table of control-chart constants (ISO 7870-2)."""
    assert [unbiasing(n) for n in (2, 5, 10, 25)] == pytest.approx(
        [0.7979, 0.9400, 0.9727, 0.9896], abs=5e-5
    )
    assert unbiasing(5) != pytest.approx(unbiasing(6), abs=5e-5)


def test_limits_of_the_means_are_students() -> None:
    """Two batches: their chart is the two-sample t test at the level of the chart."""
    one, other = [99.0, 100.0, 101.0, 100.5], [101.0, 102.0, 103.0, 101.5, 102.5]
    chart = mean_chart("x", "ab", [one, other])
    t = stats.ttest_ind(one, other)
    beyond = abs(chart.values[0] - chart.centre) / (chart.upper[0] - chart.centre)
    assert beyond == pytest.approx(
        abs(t.statistic) / stats.t.ppf(1 - CHART_RISK / 2, t.df), rel=1e-6
    )
    assert chart.centre == pytest.approx(np.mean([*one, *other]))


def test_limits_of_the_sds_are_fishers() -> None:
    """Two batches: their chart is the F test of two variances at the level of the chart."""
    chart = sd_chart("s", "ab", [1.0, 2.0], [9, 4])
    low, high = (stats.f.ppf(p, 9, 4) for p in (CHART_RISK / 2, 1 - CHART_RISK / 2))
    pooled = np.sqrt((9 * 1.0 + 4 * 4.0) / 13)
    # The share b of the first sum of squares and F are tied by F = (b / 9) / ((1 - b) / 4).
    expected = [pooled * np.sqrt(13 * f / (9 * f + 4)) for f in (low, high)]
    assert [chart.lower[0], chart.upper[0]] == pytest.approx(expected, rel=1e-6)
    assert chart.centre == pytest.approx(pooled)


def test_points_beyond_a_limit_are_named_and_equal_ones_are_not() -> None:
    """A jump among quiet batches lies outside; without any spread only other numbers do."""
    rng = np.random.default_rng(1)
    quiet = [list(rng.normal(100, 0.2, 5)) for _ in range(10)]
    chart = mean_chart("x", [str(i) for i in range(11)], [*quiet, [105.0] * 5])
    assert "10" in chart.outside
    assert mean_chart("x", "ab", [[100.1] * 3, [100.1] * 3]).outside == ()
    assert mean_chart("x", "ab", [[100.1] * 3, [100.2] * 3]).outside == ("a", "b")
    assert sd_chart("s", "ab", [0.0, 0.0], [2, 2]).outside == ()


def simulated(count: int, between: float, within: float, seed: int) -> Campaign:
    """Compare identical batches of ten locations and three replicates."""
    truth = Truth(between_sd=between, within_sd=within)
    return compare(
        [Batch(str(n), results(VIALS, truth, 1000 * seed + n, decimals=6)) for n in range(count)]
    )


@pytest.mark.slow
@pytest.mark.parametrize("count", [2, 3, 10, 20])
@pytest.mark.parametrize(("between", "within"), [(2.0, 0.7), (0.0, 1.0), (1.0, 1.0), (0.3, 2.0)])
def test_identical_batches_are_seldom_called_different(
    count: int, between: float, within: float
) -> None:
    """The verdict at 5 %, and each chart at most at its risk per point: seeded campaigns.

    Three standard errors of the rate are allowed: 4.6 % over 200 campaigns.
    """
    runs = 200 if count <= 3 else 60
    wrong, beyond = 0, [0, 0, 0]
    for seed in range(runs):
        campaign = simulated(count, between, within, seed)
        p = [p for p in (campaign.means.p, *(test.p for test in campaign.spread)) if p is not None]
        wrong += min(holm(p)) <= 0.05
        for n, chart in enumerate(campaign.charts):
            beyond[n] += bool(chart.outside)
    assert wrong / runs <= 0.05 + 3 * (0.05 * 0.95 / runs) ** 0.5
    most = 1.0 - (1.0 - CHART_RISK) ** count
    assert max(beyond) / runs <= most + 3 * (most * (1 - most) / runs) ** 0.5
