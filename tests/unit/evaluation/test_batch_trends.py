"""Trends between batches against scipy, and how often identical batches show one."""

from collections.abc import Sequence
from math import exp, log, sqrt

import numpy as np
import pytest
from scipy import stats

from assistant.evaluation.batch_trends import batch_trends
from assistant.evaluation.campaign import Batch, BatchFigures, compare
from assistant.evaluation.simulated_assays import Truth, regular_vials, results

VIALS = regular_vials(10, 3)
TIME, TURNS = ("blending time", "min"), ("revolutions", "revolution")
MINUTES = (5.0, 10.0, 15.0, 20.0)


def figures(means: Sequence[float], sds: Sequence[float], seed: int = 1) -> list[BatchFigures]:
    """Batches of these true means and SDs between locations."""
    batches = [
        Batch(str(n), results(VIALS, Truth(mean, sd, 0.5), seed + n))
        for n, (mean, sd) in enumerate(zip(means, sds, strict=True))
    ]
    return list(compare(batches).batches)


def test_the_regression_is_scipys() -> None:
    """Slope, r and p of the mean and of the logarithm of the SD, to nine digits."""
    batches = figures([98.0, 99.0, 99.5, 101.0], [4.0, 2.5, 1.5, 1.2])
    mean, sd = batch_trends(batches, {TIME: MINUTES})
    means = [np.mean(batch.location_means) for batch in batches]
    logs = [log(np.std(batch.location_means, ddof=1)) for batch in batches]
    for found, values in ((mean, means), (sd, logs)):
        other = stats.linregress(MINUTES, values)
        assert (found.slope, found.r, found.p) == pytest.approx(
            (other.slope, other.rvalue, other.pvalue), rel=1e-9
        )
        assert (found.n, found.span) == (4, 15.0)
    assert mean.effect == pytest.approx(15.0 * mean.slope)
    assert sd.effect == pytest.approx(exp(15.0 * sd.slope))
    assert sd.effect < 0.5
    assert mean.p_adjusted >= mean.p


def test_what_cannot_be_compared_is_left_out() -> None:
    """Two batches, a factor that does not vary or is not known, and batches without spread."""
    batches = figures([100.0] * 4, [1.0] * 4)
    assert batch_trends(batches[:2], {TIME: (5.0, 10.0)}) == ()
    assert batch_trends(batches, {TIME: (10.0,) * 4, TURNS: (None,) * 4}) == ()
    assert [t.n for t in batch_trends(batches, {TURNS: (100.0, None, 200.0, 300.0)})] == [3, 3]
    flat = [BatchFigures(b.name, b.summary, (100.0, 100.0), (), None) for b in batches]
    assert batch_trends(flat, {TIME: MINUTES}) == ()


def test_a_perfect_line_has_no_error() -> None:
    """Three batches exactly on a line."""
    rows = [
        BatchFigures(str(n), batch.summary, (99.0 + n, 101.0 + n), (), None)
        for n, batch in enumerate(figures([100.0] * 3, [1.0] * 3))
    ]
    (found,) = batch_trends(rows, {TIME: (5.0, 10.0, 15.0)})
    assert (found.r, found.p) == (1.0, 0.0)


@pytest.mark.slow
@pytest.mark.parametrize("count", [3, 6])
def test_identical_batches_show_a_trend_as_often_as_stated(count: int) -> None:
    """5 % of each trend at level 0.05, although batches vary among themselves."""
    draw, trials = np.random.default_rng(8), 4000
    minutes = tuple(5.0 * n for n in range(1, count + 1))
    summary = figures([100.0] * 2, [1.0] * 2)[0].summary
    found = np.zeros(2)
    for _ in range(trials):
        means = 100 + draw.normal(0, 1.0, (count, 1)) + draw.normal(0, 1.0, (count, 10))
        rows = [BatchFigures(str(n), summary, tuple(row), (), None) for n, row in enumerate(means)]
        found += [trend.p <= 0.05 for trend in batch_trends(rows, {TIME: minutes})]
    error = 3 * sqrt(0.05 * 0.95 / trials)
    assert found / trials == pytest.approx([0.05, 0.05], abs=error)
