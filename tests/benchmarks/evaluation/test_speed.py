"""Work done per second, as ratios against a baseline of the same run; nothing here is timed alone.

A ratio says how much faster the array code is than the plain way of doing the same thing on this
machine; the figures are printed, and only the direction is asserted, with a wide margin.
"""

import time
from collections.abc import Callable

import numpy as np
import pytest
from scipy import integrate, stats

from assistant.evaluation.e2810 import av_probability, sd_limits
from assistant.evaluation.intervals import Layout, component_intervals, mls_limits
from assistant.evaluation.operating_characteristic import Design, characteristic
from assistant.evaluation.schemes import acceptance_limit_2, industry
from assistant.evaluation.simulated_assays import Truth, regular_vials, results
from assistant.evaluation.study import evaluate
from assistant.evaluation.variance import one_way

pytestmark = pytest.mark.slow


def seconds(work: Callable[[], object]) -> float:
    """Processor time of one run."""
    start = time.process_time()
    work()
    return time.process_time() - start


def show(capsys: pytest.CaptureFixture[str], text: str) -> None:
    """Print past pytest's capture."""
    with capsys.disabled():
        print(f"\n{text}")  # noqa: T201 - a benchmark's figures are its result


def test_limits_for_the_whole_grid(capsys: pytest.CaptureFixture[str]) -> None:
    """60 sample sizes x 41 means x 3 confidences against adaptive quadrature of one probability."""
    sizes = np.arange(5, 65)[:, None, None]
    means, levels = np.linspace(90, 110, 41)[None, :, None], np.asarray([0.5, 0.9, 0.95])
    grid = seconds(lambda: sd_limits(sizes, means, levels))

    def plain() -> None:
        for _ in range(20):
            integrate.quad(
                lambda x: (
                    stats.norm.pdf(x, 97, 4 / 10**0.5)
                    * stats.chi2.cdf(9 * ((15 - max(0.0, 98.5 - x)) / 9.6) ** 2, 9)
                ),
                83.5,
                98.5,
            )

    one = seconds(plain) / 20
    table = seconds(lambda: sd_limits(sizes[:, 0], np.linspace(90, 110, 50)[None, :]))
    show(
        capsys,
        f"7380 limits in {grid:.2f} s; a table of 3000 cells in {table:.2f} s, "
        f"{3000 * one / table:.0f} x faster than an adaptive integral a cell ({1000 * one:.1f} ms)",
    )
    assert grid / 7380 < one
    assert table / 3000 < one


def test_probability_per_point(capsys: pytest.CaptureFixture[str]) -> None:
    """One array of 2000 points against 2000 calls."""
    mu, sigma = np.linspace(90, 110, 2000), np.linspace(1, 8, 2000)
    together = seconds(lambda: av_probability(mu, sigma, 10))
    apart = seconds(lambda: [av_probability(m, s, 10) for m, s in zip(mu, sigma, strict=True)])
    show(capsys, f"2000 probabilities together {apart / together:.0f} x faster than one by one")
    assert together < apart


def test_studies_per_minute(capsys: pytest.CaptureFixture[str]) -> None:
    """Interval formulas on arrays, and whole evaluations one by one."""
    x = np.random.default_rng(1).standard_normal((10_000, 10, 3))

    def arrays() -> None:
        msb = 3 * x.mean(axis=2).var(axis=1, ddof=1)
        mls_limits(msb, x.var(axis=2, ddof=1).mean(axis=1), Layout(9, 20, 3), 0.95)

    together = seconds(arrays) / 10_000
    groups = [[[float(v) for v in g] for g in study] for study in x[:200]]
    apart = seconds(lambda: [component_intervals(one_way(g)) for g in groups]) / 200
    made = [results(regular_vials(10, 3), Truth(), seed) for seed in range(50)]
    evaluate(made[0])
    whole = seconds(lambda: [evaluate(one) for one in made]) / 50
    show(
        capsys,
        f"studies per minute: {60 / together:.0f} on arrays, {60 / apart:.0f} with exact sums, "
        f"{60 / whole:.0f} evaluated in full",
    )
    assert together < apart


def test_operating_characteristic_grid(capsys: pytest.CaptureFixture[str]) -> None:
    """50 x 50 points x 2000 trials at 10 x 3, against judging single studies by the schemes."""
    sds = np.linspace(0.0, 8.0, 50)
    grid = seconds(
        lambda: characteristic(Design(10, 3), sds[:, None], sds[None, :], seed=1, trials=2000)
    )
    x = 100 + 2 * np.random.default_rng(1).standard_normal((20, 10, 3))
    studies = [[[float(v) for v in g] for g in study] for study in x]

    def plain() -> None:
        for groups in studies:
            industry(groups, [g[0] for g in groups])
            acceptance_limit_2(one_way(groups))

    one = seconds(plain) / len(studies)
    show(capsys, f"grid in {grid:.1f} s, {one / (grid / 5e6):.0f} x faster per study than singly")
    assert grid / 5e6 < one
