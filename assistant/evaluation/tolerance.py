"""Statistical tolerance intervals: limits that hold a proportion of all values, at a confidence.

One result a location, a simple sample of n, with exact factors for the normal distribution:

- one-sided limits, mean -/+ k1 s: k1 = t'(C; n - 1, z(P) root n) / root n, t' being noncentral t;
- two-sided interval, mean -/+ k2 s: k2 solves, over the standardised error x of the mean,
  2 root n x integral from 0 of Prob[chi2(n - 1) > (n - 1) q(x)/k2^2] phi(x root n) dx = C, where
  q(x) is the noncentral chi-squared below which lies P (1 degree of freedom, noncentrality x^2).

With replicates, the one-way random-effects model; the proportion is of single results, each of a
location of its own. U is the Graybill-Wang upper limit of the total variance at confidence C,
V the estimated variance of the mean of the location means, T the estimated total variance:

- two-sided: mean -/+ z((1 + P)/2) root[(1 + V/T) U] (Hoffman & Kringle 2005);
- one-sided: mean -/+ [z(P) root U + z(C) root V] (Hoffman 2010).

The exact formulas were read in public manuals of statistics programs, those with replicates in
public code that names both papers; the papers themselves were not read. Coverage was simulated for
63 designs and 12 pairs of levels (tests/property/evaluation/test_tolerance_coverage.py): two-sided
it falls short of C by at most 1.1 percentage points, one-sided it does not fall short. With unequal
numbers of replicates the unweighted means of `intervals` stand in, and `approximate` says so.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from assistant.errors import InputError
from assistant.evaluation.descriptive import summarise
from assistant.evaluation.intervals import (
    Layout,
    MeanSquares,
    graybill_wang_upper,
    mean_squares,
    total_variance,
)
from assistant.evaluation.quantiles import Floats, normal_quantile
from assistant.evaluation.variance import OneWay

LEAST, MOST = 0.9, 0.999
"""Proportions and confidence levels that can be asked for: those whose coverage was simulated."""
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(96)
_FAR = 9.0
"""Standard errors of the mean beyond which nothing is left to integrate."""
_WIDEST = 1e6
"""Larger than any k2: the largest asked for, of two values at 99.9/99.9, is 2944."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a tolerance interval is asked to hold."""

    proportion: float
    confidence: float

    def __post_init__(self) -> None:
        """Refuse levels outside the range in which the methods were simulated.

        Raises:
            InputError: the proportion or the confidence level lies outside it.
        """
        for level in (self.proportion, self.confidence):
            if not LEAST <= level <= MOST:
                raise InputError(
                    f"A tolerance interval {self.name} is not offered: proportion and confidence "
                    f"level are {100 * LEAST:g} to {100 * MOST:g} % each."
                )

    @property
    def name(self) -> str:
        """Both in %, as in `95/95`."""
        return f"{100 * self.proportion:g}/{100 * self.confidence:g}"


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Tolerance limits of a batch, % of target, with what they were computed from."""

    asked: Asked
    mean: float
    """Of all results; with unequal numbers of replicates, of the location means."""
    sd: float
    """Root of the total variance; of the simple sample its standard deviation."""
    lower: float
    upper: float
    """Both ends of the two-sided interval."""
    lower_alone: float
    upper_alone: float
    """Each a one-sided limit of its own."""
    factors: tuple[float, float] | None
    """k2 and k1 of a simple sample; None with replicates."""
    sigma_upper: float | None
    """Root of U; None for a simple sample."""
    mean_sd: float | None
    """Root of V; None for a simple sample."""
    approximate: bool
    """Whether unweighted location means stand in for a balanced design."""


def asked(text: str) -> Asked:
    """What is asked for as `95/95`: proportion and confidence level, both in %.

    Raises:
        InputError: it cannot be read, or lies outside the range offered.
    """
    try:
        proportion, confidence = (round(float(part) / 100.0, 9) for part in text.split("/"))
    except ValueError:
        raise InputError(
            f"{text!r} is no tolerance interval: write proportion and confidence level in %, "
            "such as 95/95."
        ) from None
    return Asked(proportion, confidence)


def one_sided_factor(n: int, wanted: Asked) -> float:
    """Exact k1 of a simple sample of n >= 2 normal values."""
    root = math.sqrt(n)
    shift = float(normal_quantile(wanted.proportion)) * root
    return float(special.nctdtrit(n - 1, shift, wanted.confidence)) / root


def two_sided_factor(n: int, wanted: Asked) -> float:
    """Exact k2 of a simple sample of n >= 2 normal values."""
    df, errors = n - 1, (_NODES + 1.0) * _FAR / 2.0
    # Twice the half line, and the change from [-1, 1] to [0, _FAR].
    weights = _WEIGHTS * _FAR * np.exp(-(errors**2) / 2.0) / math.sqrt(2.0 * math.pi)
    needed = special.chndtrix(wanted.proportion, 1.0, errors**2 / n)

    def excess(log_k: float) -> float:
        beyond = special.gammaincc(df / 2.0, df * needed / (2.0 * math.exp(2.0 * log_k)))
        return float(weights @ beyond) - wanted.confidence

    return math.exp(float(optimize.brentq(excess, 0.0, math.log(_WIDEST))))


def two_sided_half(between: ArrayLike, within: ArrayLike, layout: Layout, wanted: Asked) -> Floats:
    """Half the width of the two-sided interval; mean squares in, some variance among them."""
    total = total_variance(between, within, layout.replicates)
    upper = graybill_wang_upper(between, within, layout, wanted.confidence)
    z = normal_quantile((1.0 + wanted.proportion) / 2.0)
    return np.asarray(z * np.sqrt((1.0 + _mean_variance(between, layout) / total) * upper))


def one_sided_reach(between: ArrayLike, within: ArrayLike, layout: Layout, wanted: Asked) -> Floats:
    """Distance of a one-sided limit from the mean; mean squares in."""
    upper = graybill_wang_upper(between, within, layout, wanted.confidence)
    mean_sd = np.sqrt(_mean_variance(between, layout))
    z_p, z_c = normal_quantile([wanted.proportion, wanted.confidence])
    return np.asarray(z_p * np.sqrt(upper) + z_c * mean_sd)


def _mean_variance(between: ArrayLike, layout: Layout) -> Floats:
    """V, the variance of the mean of the location means."""
    locations = layout.df_between + 1
    return np.asarray(between, dtype=np.float64) / (layout.replicates * locations)


def of_sample(values: Sequence[float], wanted: Asked) -> Tolerance:
    """Tolerance limits from two or more locations with one result each."""
    found = summarise(values)
    sd = found.sd or 0.0
    k2, k1 = two_sided_factor(found.n, wanted), one_sided_factor(found.n, wanted)
    return Tolerance(
        asked=wanted,
        mean=found.mean,
        sd=sd,
        lower=found.mean - k2 * sd,
        upper=found.mean + k2 * sd,
        lower_alone=found.mean - k1 * sd,
        upper_alone=found.mean + k1 * sd,
        factors=(k2, k1),
        sigma_upper=None,
        mean_sd=None,
        approximate=False,
    )


def of_components(table: OneWay, wanted: Asked) -> Tolerance:
    """Tolerance limits from locations with replicates."""
    squares = mean_squares(table)
    layout, msb, msw = squares.layout, squares.between, squares.within
    mean = float(np.mean(table.means)) if squares.approximate else table.mean
    half, reach = _widths(squares, wanted)
    return Tolerance(
        asked=wanted,
        mean=mean,
        sd=float(np.sqrt(total_variance(msb, msw, layout.replicates))),
        lower=mean - half,
        upper=mean + half,
        lower_alone=mean - reach,
        upper_alone=mean + reach,
        factors=None,
        sigma_upper=float(np.sqrt(graybill_wang_upper(msb, msw, layout, wanted.confidence))),
        mean_sd=float(np.sqrt(_mean_variance(msb, layout))),
        approximate=squares.approximate,
    )


def _widths(squares: MeanSquares, wanted: Asked) -> tuple[float, float]:
    """Half width and reach; zero where all results are equal."""
    if squares.between + squares.within == 0.0:
        return 0.0, 0.0
    args = squares.between, squares.within, squares.layout, wanted
    return float(two_sided_half(*args)), float(one_sided_reach(*args))
