"""Do batches change with the time or the revolutions of blending? One value of each batch.

Locations of a batch share the batch's own deviation, so the batch is the unit: the mean of its
location means, and the logarithm of their standard deviation, are regressed on the factor over the
batches, with batches - 2 degrees of freedom. The logarithm of an SD has nearly the same error at
every SD (its variance is near 1 / (2 df)), which the regression needs. An observational trend:
batches may differ in more than their blending.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from assistant.evaluation.campaign import BatchFigures
from assistant.evaluation.quantiles import t_two_sided
from assistant.evaluation.trends import correlation, holm

FEWEST_BATCHES = 3
"""With two, any line fits."""


@dataclass(frozen=True, slots=True)
class BatchTrend:
    """A figure of the batches against a factor of their blending."""

    figure: str
    factor: str
    unit: str
    n: int
    slope: float
    """Change of the figure for one unit of the factor; for a logarithm, of the logarithm."""
    span: float
    """Range of the factor over the batches, in its unit."""
    r: float
    p: float
    p_adjusted: float
    """p after Holm's adjustment over the trends reported together."""
    logarithm: bool
    """Whether the figure is a natural logarithm."""

    @property
    def effect(self) -> float:
        """Change over the factor's range: % of target, or for a logarithm the ratio of the ends."""
        change = self.slope * self.span
        return math.exp(change) if self.logarithm else change


def batch_trends(
    batches: Sequence[BatchFigures], factors: Mapping[tuple[str, str], Sequence[float | None]]
) -> tuple[BatchTrend, ...]:
    """Trends of every factor that is known for three batches or more and varies among them.

    Args:
        batches: figures of each batch.
        factors: by name and unit, the value of each batch; None where it is not known.
    """
    means = [float(np.mean(batch.location_means)) for batch in batches]
    sds = [float(np.std(batch.location_means, ddof=1)) for batch in batches]
    logs = [math.log(sd) if sd > 0 else None for sd in sds]
    found = [
        trend
        for (name, unit), values in factors.items()
        for figure, numbers, logarithm in (
            ("mean", means, False),
            ("SD of location means", logs, True),
        )
        if (trend := _trend(figure, (name, unit), values, numbers, logarithm=logarithm))
    ]
    adjusted = holm([trend.p for trend in found])
    return tuple(replace(trend, p_adjusted=p) for trend, p in zip(found, adjusted, strict=True))


def _trend(
    figure: str,
    factor: tuple[str, str],
    values: Sequence[float | None],
    numbers: Sequence[float | None],
    *,
    logarithm: bool,
) -> BatchTrend | None:
    pairs = [
        (value, number)
        for value, number in zip(values, numbers, strict=True)
        if value is not None and number is not None
    ]
    if len(pairs) < FEWEST_BATCHES:
        return None
    points = np.asarray(pairs)
    x, y = (points - points.mean(axis=0)).T
    r = correlation(x, y)
    if r is None:
        return None
    df = len(pairs) - 2
    p = 0.0 if abs(r) >= 1.0 else float(t_two_sided(r * math.sqrt(df / (1.0 - r * r)), df))
    slope, span = float((x * y).sum() / (x * x).sum()), float(np.ptp(x))
    return BatchTrend(figure, *factor, len(pairs), slope, span, r, p, 1.0, logarithm)
