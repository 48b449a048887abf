"""Across sessions: are the batches of a validation campaign alike?

Means by a one-way analysis on the location means (locations, not vials, are independent within a
batch); spread by Levene's test and its Brown-Forsythe form about the median, on all results and
on the deviations from the location means. Control charts: individuals and moving range for the
batch means (2.66 = 3/d2, d2 = 1.128), and S limits with c4 for the batch SDs (Shewhart; constants
from their definitions, as in ISO 7870-2).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from assistant.errors import InputError
from assistant.evaluation.descriptive import Summary, summarise
from assistant.evaluation.quantiles import f_upper_tail
from assistant.evaluation.results import Result, assays, assays_by_spot, by_location, check_study
from assistant.evaluation.screening import deviations_from_location
from assistant.evaluation.variance import OneWay, one_way

_D2_OF_TWO = 2.0 / math.sqrt(math.pi)
"""Mean range of two standard normal values: 1.128."""
_D4_OF_TWO = 1.0 + 3.0 * math.sqrt(1.0 - 2.0 / math.pi) / math.sqrt(2.0 / math.pi)
"""Upper limit factor of the moving range: 3.267."""


@dataclass(frozen=True, slots=True)
class Batch:
    """One session's results under the batch's name."""

    name: str
    results: tuple[Result, ...]


@dataclass(frozen=True, slots=True)
class BatchFigures:
    """Summary and components of one batch."""

    name: str
    summary: Summary
    location_means: tuple[float, ...]
    table: OneWay | None
    """None without replicates."""


@dataclass(frozen=True, slots=True)
class SpreadTest:
    """Levene's W for equal spread."""

    name: str
    statistic: float
    df_between: int
    df_within: int
    p: float


@dataclass(frozen=True, slots=True)
class Chart:
    """A control chart: points in order, centre line and limits."""

    name: str
    labels: tuple[str, ...]
    values: tuple[float, ...]
    centre: float
    lower: tuple[float, ...]
    upper: tuple[float, ...]

    @property
    def outside(self) -> tuple[str, ...]:
        """Labels of the points beyond a limit."""
        rows = zip(self.labels, self.values, self.lower, self.upper, strict=True)
        return tuple(label for label, value, low, high in rows if not low <= value <= high)


@dataclass(frozen=True, slots=True)
class Campaign:
    """The comparison of two or more batches."""

    batches: tuple[BatchFigures, ...]
    means: OneWay
    """Analysis of the location means between batches."""
    spread: tuple[SpreadTest, ...]
    """Tests that could be made; none where a spread is nowhere."""
    charts: tuple[Chart, ...]


def compare(batches: Sequence[Batch]) -> Campaign:
    """Compare two or more batches.

    Raises:
        InputError: fewer than two batches, a name twice, or a batch that cannot be evaluated.
    """
    names = [batch.name for batch in batches]
    if len(batches) < 2:  # noqa: PLR2004 - a comparison needs two
        raise InputError("One batch only: a comparison needs two or more records.")
    if len(set(names)) < len(names):
        raise InputError("Two records carry the same batch name: compare each batch once.")
    for batch in batches:
        check_study(batch.results)
    figures = tuple(_figures(batch) for batch in batches)
    return Campaign(
        batches=figures,
        means=one_way([batch.location_means for batch in figures]),
        spread=_spread_tests(batches),
        charts=(
            individuals_chart("batch mean", names, [f.summary.mean for f in figures]),
            moving_range_chart("moving range", names, [f.summary.mean for f in figures]),
            sd_chart(
                "batch SD",
                names,
                [f.summary.sd or 0.0 for f in figures],
                [f.summary.n for f in figures],
            ),
        ),
    )


def _figures(batch: Batch) -> BatchFigures:
    groups = assays_by_spot(batch.results)
    replicated = any(len(group) > 1 for group in groups)
    return BatchFigures(
        batch.name,
        summarise(assays(batch.results)),
        tuple(summarise(assays(group)).mean for group in by_location(batch.results).values()),
        one_way(groups) if replicated else None,
    )


def _spread_tests(batches: Sequence[Batch]) -> tuple[SpreadTest, ...]:
    everything = [assays(batch.results) for batch in batches]
    inside = [deviations_from_location(assays_by_spot(batch.results)) for batch in batches]
    tests = (
        levene("Levene, all results", everything, centre="mean"),
        levene("Brown-Forsythe, all results", everything, centre="median"),
        levene("Brown-Forsythe, within locations", inside, centre="median"),
    )
    return tuple(test for test in tests if test is not None)


def levene(name: str, groups: Sequence[Sequence[float]], *, centre: str) -> SpreadTest | None:
    """Levene's test about the mean, or Brown & Forsythe's about the median.

    Args:
        name: of the test, for the report.
        groups: two or more groups of two or more values.
        centre: "mean" or "median".

    Returns:
        The test, or None where the distances from the centre do not vary inside any group.
    """
    middle = np.mean if centre == "mean" else np.median
    arrays = [np.asarray(group, dtype=np.float64) for group in groups]
    distances = [np.abs(array - middle(array)) for array in arrays]
    counts = np.asarray([len(d) for d in distances])
    centres = np.asarray([d.mean() for d in distances])
    grand = float(np.concatenate(distances).mean())
    within = sum(float(((d - c) ** 2).sum()) for d, c in zip(distances, centres, strict=True))
    df1, df2 = len(groups) - 1, int(counts.sum()) - len(groups)
    if within <= 1e-24 * counts.sum():  # distances equal but for rounding
        return None
    statistic = float((counts * (centres - grand) ** 2).sum()) / df1 / (within / df2)
    return SpreadTest(name, statistic, df1, df2, float(f_upper_tail(statistic, df1, df2)))


def individuals_chart(name: str, labels: Sequence[str], values: Sequence[float]) -> Chart:
    """Individuals chart of two or more values: mean -+ 2.66 x mean moving range."""
    centre = float(np.mean(values))
    half = 3.0 * float(np.abs(np.diff(values)).mean()) / _D2_OF_TWO
    lower, upper = (centre - half,) * len(values), (centre + half,) * len(values)
    return Chart(name, tuple(labels), tuple(values), centre, lower, upper)


def moving_range_chart(name: str, labels: Sequence[str], values: Sequence[float]) -> Chart:
    """Chart of the differences between neighbours: 0 to 3.267 x their mean."""
    ranges = tuple(float(r) for r in np.abs(np.diff(values)))
    centre = float(np.mean(ranges))
    lower, upper = (0.0,) * len(ranges), (_D4_OF_TWO * centre,) * len(ranges)
    return Chart(name, tuple(labels[1:]), ranges, centre, lower, upper)


def sd_chart(
    name: str, labels: Sequence[str], sds: Sequence[float], counts: Sequence[int]
) -> Chart:
    """S chart with its own limits for each count: c4 s -+ 3 s sqrt(1 - c4^2), not below zero.

    The centre is sigma, the pooled standard deviation; a batch's limits are around c4 sigma.
    """
    df = np.asarray(counts, dtype=np.float64) - 1.0
    sigma = float(np.sqrt((df * np.asarray(sds) ** 2).sum() / df.sum()))
    c4 = [unbiasing(n) for n in counts]
    half = [3.0 * math.sqrt(1.0 - c * c) for c in c4]
    lower = tuple(max(0.0, sigma * (c - h)) for c, h in zip(c4, half, strict=True))
    upper = tuple(sigma * (c + h) for c, h in zip(c4, half, strict=True))
    return Chart(name, tuple(labels), tuple(sds), sigma, lower, upper)


def unbiasing(n: int) -> float:
    """c4: mean of the sample SD of n normal values, in units of sigma."""
    return math.sqrt(2.0 / (n - 1)) * math.exp(math.lgamma(n / 2.0) - math.lgamma((n - 1) / 2.0))
