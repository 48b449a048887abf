"""Normality and outlier screening, for information only: no value is removed.

Shapiro-Wilk through scipy; Grubbs' test with its critical value from Student's t,

    G = max|x - mean| / s,   critical ((n-1)/sqrt n) sqrt(t^2/(n - 2 + t^2)),
    t the upper alpha/(2n) quantile at n - 2 degrees of freedom,

as in the NIST/SEMATECH e-Handbook, section 1.3.5.17.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from assistant.evaluation.descriptive import summarise
from assistant.evaluation.quantiles import t_quantile

_FEWEST = 3


@dataclass(frozen=True, slots=True)
class Normality:
    """Shapiro-Wilk statistic and its p-value for n values."""

    n: int
    w: float
    p: float


@dataclass(frozen=True, slots=True)
class Outlier:
    """The value farthest from the mean and Grubbs' test of it."""

    index: int
    """Index in the sequence, from 0."""
    value: float
    g: float
    critical: float
    alpha: float

    @property
    def suspect(self) -> bool:
        """Whether the value is an outlier at level `alpha`."""
        return self.g > self.critical


def normality(values: Sequence[float]) -> Normality | None:
    """Shapiro-Wilk test; None for fewer than three values or if all are equal."""
    if len(values) < _FEWEST or min(values) == max(values):
        return None
    from scipy import stats  # noqa: PLC0415 - the slowest import of the package, used only here

    centred = np.asarray(values, dtype=np.float64) - float(np.mean(values))
    outcome = stats.shapiro(centred)
    return Normality(len(values), float(outcome.statistic), float(outcome.pvalue))


def grubbs_critical(n: int, alpha: float = 0.05) -> float:
    """Two-sided critical value of Grubbs' G for n >= 3 values."""
    t2 = float(t_quantile(1.0 - alpha / (2.0 * n), n - 2)) ** 2
    return (n - 1) / math.sqrt(n) * math.sqrt(t2 / (n - 2 + t2))


def farthest(values: Sequence[float], alpha: float = 0.05) -> Outlier | None:
    """Grubbs' test of the farthest value; None for fewer than three or if all are equal."""
    if len(values) < _FEWEST:
        return None
    summary = summarise(values)
    if not summary.sd:
        return None
    index = max(range(len(values)), key=lambda i: abs(values[i] - summary.mean))
    g = abs(values[index] - summary.mean) / summary.sd
    return Outlier(index, values[index], g, grubbs_critical(len(values), alpha), alpha)


def deviations_from_location(groups: Sequence[Sequence[float]]) -> tuple[float, ...]:
    """Each value minus its location mean: normal under the within-location model."""
    return tuple(
        value - mean
        for group in groups
        for mean in [math.fsum(group) / len(group)]
        for value in group
    )
