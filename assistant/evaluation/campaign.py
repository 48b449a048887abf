"""Comparison across sessions: are the batches of a validation campaign alike?

Vials of one location share its location effect, so within a batch the vials are not independent,
but the locations are. Everything here is therefore computed from one value per location or spot:

- means: one-way analysis of the location means;
- spread between locations: Brown and Forsythe's test on the location means;
- spread within locations: one-way analysis of the spots' standard deviations, each divided by its
  c4, so that spots with different numbers of replicates are comparable.

Control charts of the batch means, of the SD of the location means and of the SD within locations.
Their limits are exact for identical normal batches: a point lies beyond them with the probability
`CHART_RISK` of Shewhart's three-sigma limits, whatever the number of batches (Student's t for a
mean, the beta distribution for a batch's share of the pooled sum of squares; derived in
`mean_chart` and `sd_chart`).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from assistant.errors import InputError
from assistant.evaluation.descriptive import Summary, summarise
from assistant.evaluation.quantiles import beta_quantile, f_upper_tail, t_quantile
from assistant.evaluation.results import Result, assays, assays_by_spot, by_location, check_study
from assistant.evaluation.variance import OneWay, one_way

CHART_RISK = 0.0027
"""Probability that a point of identical batches is beyond its limits; as with three sigma."""
_ROUNDING = 1e-9
"""Relative widening of the limits, so that rounding puts no equal values beyond them."""


@dataclass(frozen=True, slots=True)
class Batch:
    """The results of one session, named by its batch."""

    name: str
    results: tuple[Result, ...]


@dataclass(frozen=True, slots=True)
class BatchFigures:
    """Summary and components of one batch."""

    name: str
    summary: Summary
    location_means: tuple[float, ...]
    spot_sds: tuple[float, ...]
    """Standard deviation at each spot with replicates, divided by its c4."""
    table: OneWay | None
    """None without replicates."""


@dataclass(frozen=True, slots=True)
class SpreadTest:
    """A test for equal spread."""

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
    """Tests that could be made; empty if no group varies."""
    charts: tuple[Chart, ...]


def compare(batches: Sequence[Batch]) -> Campaign:
    """Compare two or more batches.

    Raises:
        InputError: fewer than two batches, a repeated name, or a batch that cannot be evaluated.
    """
    names = [batch.name for batch in batches]
    if len(batches) < 2:  # noqa: PLR2004 - a comparison needs two
        raise InputError("One batch only: a comparison needs two or more records.")
    if len(set(names)) < len(names):
        raise InputError("Two records have the same batch name: compare each batch once.")
    for batch in batches:
        check_study(batch.results)
    figures = tuple(_figures(batch) for batch in batches)
    return Campaign(
        batches=figures,
        means=one_way([batch.location_means for batch in figures]),
        spread=_spread_tests(figures),
        charts=_charts(names, figures),
    )


def _figures(batch: Batch) -> BatchFigures:
    groups = assays_by_spot(batch.results)
    replicated = [group for group in groups if len(group) > 1]
    return BatchFigures(
        batch.name,
        summarise(assays(batch.results)),
        tuple(summarise(assays(group)).mean for group in by_location(batch.results).values()),
        tuple(float(np.std(group, ddof=1)) / unbiasing(len(group)) for group in replicated),
        one_way(groups) if replicated else None,
    )


def _spread_tests(batches: Sequence[BatchFigures]) -> tuple[SpreadTest, ...]:
    found = [brown_forsythe("Brown-Forsythe, location means", [b.location_means for b in batches])]
    if all(len(batch.spot_sds) > 1 for batch in batches):
        found.append(_equal_sds("one-way analysis of the SDs within locations", batches))
    return tuple(test for test in found if test is not None)


def _equal_sds(name: str, batches: Sequence[BatchFigures]) -> SpreadTest | None:
    table = one_way([batch.spot_sds for batch in batches])
    if table.f is None or table.p is None:
        return None
    return SpreadTest(name, table.f, table.df_between, table.df_within, table.p)


def _charts(names: Sequence[str], batches: Sequence[BatchFigures]) -> tuple[Chart, ...]:
    means = [batch.location_means for batch in batches]
    charts = [
        mean_chart("batch mean", names, means),
        sd_chart(
            "SD of location means",
            names,
            [float(np.std(values, ddof=1)) for values in means],
            [len(values) - 1 for values in means],
        ),
    ]
    tables = [batch.table for batch in batches if batch.table is not None]
    if len(tables) == len(batches):
        within = [(table.residual_sd, table.df_within) for table in tables]
        sds, dfs = zip(*within, strict=True)
        charts.append(sd_chart("SD within locations", names, sds, dfs))
    return tuple(charts)


def brown_forsythe(name: str, groups: Sequence[Sequence[float]]) -> SpreadTest | None:
    """Brown and Forsythe's test: a one-way analysis of the distances from each group's median.

    Args:
        name: name of the test, for the report.
        groups: two or more groups of two or more independent values.

    Returns:
        The test, or None if the distances do not vary within any group.
    """
    distances = [np.abs(np.asarray(g, dtype=np.float64) - np.median(g)) for g in groups]
    counts = np.asarray([len(d) for d in distances])
    centres = np.asarray([d.mean() for d in distances])
    grand = float(np.concatenate(distances).mean())
    within = sum(float(((d - c) ** 2).sum()) for d, c in zip(distances, centres, strict=True))
    df1, df2 = len(groups) - 1, int(counts.sum()) - len(groups)
    if within <= 1e-24 * counts.sum():  # distances equal except for rounding
        return None
    statistic = float((counts * (centres - grand) ** 2).sum()) / df1 / (within / df2)
    return SpreadTest(name, statistic, df1, df2, float(f_upper_tail(statistic, df1, df2)))


def mean_chart(name: str, labels: Sequence[str], groups: Sequence[Sequence[float]]) -> Chart:
    """Chart of the batch means, from the independent values of each batch.

    For identical batches, the mean of a_i of A values minus the grand mean has the variance
    sigma^2 (1/a_i - 1/A); divided by its estimated standard error it follows Student's t.
    """
    counts = np.asarray([len(group) for group in groups], dtype=np.float64)
    means = [float(np.mean(group)) for group in groups]
    df = float(counts.sum()) - len(groups)
    squares = sum(float(((np.asarray(g) - np.mean(g)) ** 2).sum()) for g in groups)
    centre = float((counts * means).sum() / counts.sum())
    factor = float(t_quantile(1.0 - CHART_RISK / 2.0, df)) * math.sqrt(squares / df)
    half = [factor * math.sqrt(1.0 / n - 1.0 / counts.sum()) for n in counts]
    return _chart(
        name, labels, means, centre, [centre - h for h in half], [centre + h for h in half]
    )


def sd_chart(name: str, labels: Sequence[str], sds: Sequence[float], dfs: Sequence[int]) -> Chart:
    """Chart of the batch SDs with limits for each number of degrees of freedom.

    For identical batches, the share of one batch in the pooled sum of squares follows the beta
    distribution with half its own and half the others' degrees of freedom.
    """
    df = np.asarray(dfs, dtype=np.float64)
    total = float(df.sum())
    pooled = float(np.sqrt((df * np.asarray(sds) ** 2).sum() / total))
    lower, upper = (
        [
            pooled * math.sqrt(total / own * float(beta_quantile(p, own / 2, (total - own) / 2)))
            for own in df
        ]
        for p in (CHART_RISK / 2.0, 1.0 - CHART_RISK / 2.0)
    )
    return _chart(name, labels, sds, pooled, lower, upper)


def _chart(  # noqa: PLR0917 - the columns of a chart
    name: str,
    labels: Sequence[str],
    values: Sequence[float],
    centre: float,
    lower: Sequence[float],
    upper: Sequence[float],
) -> Chart:
    slack = _ROUNDING * abs(centre)
    return Chart(
        name,
        tuple(labels),
        tuple(values),
        centre,
        tuple(low - slack for low in lower),
        tuple(high + slack for high in upper),
    )


def unbiasing(n: int) -> float:
    """c4: mean of the sample SD of n normal values, in units of sigma."""
    return math.sqrt(2.0 / (n - 1)) * math.exp(math.lgamma(n / 2.0) - math.lgamma((n - 1) / 2.0))
