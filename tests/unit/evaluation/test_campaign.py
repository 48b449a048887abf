"""Batches side by side: tests against scipy, chart limits against their constants."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from assistant.errors import InputError
from assistant.evaluation.campaign import (
    Batch,
    compare,
    individuals_chart,
    levene,
    moving_range_chart,
    sd_chart,
    unbiasing,
)
from assistant.evaluation.results import assays
from assistant.evaluation.simulated_assays import Truth, regular_vials, results

SITES = regular_vials(10, 3)
TRUTHS = (Truth(), Truth(mean=99.0), Truth(within_sd=4.0))
BATCHES = tuple(
    Batch(name, results(SITES, truth, seed))
    for seed, (name, truth) in enumerate(zip("ABC", TRUTHS, strict=True))
)


def test_levene_and_brown_forsythe_are_scipys() -> None:
    """Both forms agree with scipy to twelve digits."""
    groups = [assays(batch.results) for batch in BATCHES]
    for centre in ("mean", "median"):
        found = levene(centre, groups, centre=centre)
        expected = stats.levene(*groups, center=centre)
        assert found is not None
        assert (found.df_between, found.df_within) == (2, 87)
        assert [found.statistic, found.p] == pytest.approx(
            [expected.statistic, expected.pvalue], rel=1e-12
        )


def test_levene_needs_a_spread_that_varies() -> None:
    """Pairs, or values all equal, have one distance each: no test."""
    assert levene("x", [[1.0, 2.0], [3.0, 4.0]], centre="mean") is None
    assert levene("x", [[1.0] * 4, [2.0] * 4], centre="median") is None


def test_a_wider_batch_is_seen_and_means_are_compared_by_location() -> None:
    """Four times the spread in C stands out in every test of spread."""
    campaign = compare(BATCHES)
    assert [batch.name for batch in campaign.batches] == ["A", "B", "C"]
    assert campaign.means.sizes == (10, 10, 10)
    assert len(campaign.spread) == 3
    assert all(test.p < 1e-4 for test in campaign.spread)
    assert campaign.batches[2].table is not None
    assert [chart.name for chart in campaign.charts] == ["batch mean", "moving range", "batch SD"]
    assert "C" in campaign.charts[2].outside


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


def test_chart_constants() -> None:
    """2.66, 3.267 and c4 as printed in every table of control-chart constants (ISO 7870-2)."""
    values = [100.0, 101.0, 99.0, 100.0]
    chart = individuals_chart("x", "abcd", values)
    ranges = moving_range_chart("r", "abcd", values)
    mean_range = np.mean([1.0, 2.0, 1.0])
    assert chart.upper[0] - chart.centre == pytest.approx(2.66 * mean_range, rel=1e-3)
    assert chart.lower[0] - chart.centre == pytest.approx(-2.66 * mean_range, rel=1e-3)
    assert ranges.upper[0] == pytest.approx(3.267 * mean_range, rel=1e-3)
    assert ranges.labels == ("b", "c", "d")
    assert [unbiasing(n) for n in (2, 5, 10, 25)] == pytest.approx(
        [0.7979, 0.9400, 0.9727, 0.9896], abs=5e-5
    )
    assert unbiasing(5) != pytest.approx(unbiasing(6), abs=5e-5)


def test_sd_chart_limits() -> None:
    """For n = 5 the limits are 0 and 2.089 x c4 sigma (B3, B4); for n = 10 0.284 and 1.716."""
    chart = sd_chart("s", "ab", [1.0, 1.0], [5, 10])
    five, ten = unbiasing(5), unbiasing(10)
    assert chart.centre == pytest.approx(1.0)
    assert chart.lower == pytest.approx((0.0, 0.284 * ten), abs=5e-4)
    assert chart.upper == pytest.approx((2.089 * five, 1.716 * ten), abs=5e-4)


def test_points_beyond_a_limit_are_named() -> None:
    """A jump among quiet batches lies outside."""
    quiet = [100.0, 100.1, 99.9, 100.0, 100.1, 99.9, 100.0, 100.1, 99.9, 100.0, 105.0]
    chart = individuals_chart("x", [str(i) for i in range(11)], quiet)
    assert chart.outside == ("10",)
