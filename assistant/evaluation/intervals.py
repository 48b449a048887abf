"""Confidence intervals for the components of a one-way random-effects analysis.

- within-location variance: exact, from chi-squared;
- share of the between-location variance (intraclass correlation): exact, from F;
- between-location variance: the modified large-sample (MLS) limits of Ting et al. 1990, as in
  Burdick & Graybill 1992 (formula read in a secondary text; coverage confirmed by simulation);
- total variance: Satterthwaite, slightly liberal when the locations dominate;
- upper limit of the total variance: Graybill & Wang 1980, conservative (read likewise).

With unequal numbers of replicates, the between mean square is replaced by h times the variance of
the location means, where h is the harmonic mean of the numbers (Thomas & Hultquist, Ann. Statist.
6:582-587, 1978, abstract read); the intervals are then approximate and labelled so.

The formulas come first and take arrays, so that a simulation runs the same code as the report.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from assistant.evaluation.quantiles import Floats, chi2_quantile, f_quantile
from assistant.evaluation.variance import OneWay


@dataclass(frozen=True, slots=True)
class Interval:
    """Limits of one quantity; `lower` is None for an upper limit alone."""

    lower: float | None
    upper: float
    confidence: float
    method: str


@dataclass(frozen=True, slots=True)
class Layout:
    """Degrees of freedom and replicates behind a pair of mean squares."""

    df_between: int
    df_within: int
    replicates: float
    """Results per location; the harmonic mean of the numbers if they differ."""


@dataclass(frozen=True, slots=True)
class MeanSquares:
    """The values of a table that the interval formulas need."""

    between: float
    within: float
    layout: Layout
    approximate: bool
    """Whether unweighted location means replace a balanced design."""


@dataclass(frozen=True, slots=True)
class ComponentIntervals:
    """Intervals of every component; variances are in the squared unit."""

    within: Interval
    between: Interval
    total: Interval
    total_df: float | None
    """Satterthwaite's degrees of freedom; None without any variance."""
    total_upper: Interval
    icc: Interval | None
    """None if the replicates agree exactly."""


def mean_squares(table: OneWay) -> MeanSquares:
    """The table's mean squares, from unweighted means if the design is unbalanced."""
    sizes = np.asarray(table.sizes, dtype=np.float64)
    between, replicates = table.ms_between, float(sizes[0])
    if not table.balanced:
        replicates = float(len(sizes) / (1.0 / sizes).sum())
        between = replicates * float(np.var(np.asarray(table.means) - table.mean, ddof=1))
    layout = Layout(table.df_between, table.df_within, replicates)
    return MeanSquares(between, table.ms_within, layout, approximate=not table.balanced)


def chi2_limits(square: ArrayLike, df: int, confidence: float) -> tuple[Floats, Floats]:
    """Exact two-sided limits of the variance behind a mean square."""
    tail = (1.0 - confidence) / 2.0
    total = df * np.asarray(square, dtype=np.float64)
    return total / chi2_quantile(1.0 - tail, df), total / chi2_quantile(tail, df)


def icc_limits(f: ArrayLike, layout: Layout, confidence: float) -> tuple[Floats, Floats]:
    """Exact two-sided limits of the intraclass correlation from the F ratio, cut at zero."""
    tail = (1.0 - confidence) / 2.0
    df1, df2, replicates = layout.df_between, layout.df_within, layout.replicates
    ratio = np.asarray(f, dtype=np.float64)
    low = np.maximum((ratio / f_quantile(1.0 - tail, df1, df2) - 1.0) / replicates, 0.0)
    high = np.maximum((ratio / f_quantile(tail, df1, df2) - 1.0) / replicates, 0.0)
    return low / (1.0 + low), high / (1.0 + high)


def mls_limits(
    between: ArrayLike, within: ArrayLike, layout: Layout, confidence: float
) -> tuple[Floats, Floats]:
    """Modified large-sample limits of the between variance, cut at zero."""
    q = (1.0 - confidence) / 2.0
    df1, df2 = layout.df_between, layout.df_within
    msb = np.asarray(between, dtype=np.float64)
    msw = np.asarray(within, dtype=np.float64)
    g1, g2 = (1.0 - df / chi2_quantile(1.0 - q, df) for df in (df1, df2))
    h1, h2 = (df / chi2_quantile(q, df) - 1.0 for df in (df1, df2))
    f_high, f_low = f_quantile(1.0 - q, df1, df2), f_quantile(q, df1, df2)
    g12 = ((f_high - 1.0) ** 2 - g1**2 * f_high**2 - h2**2) / f_high
    h12 = ((1.0 - f_low) ** 2 - h1**2 * f_low**2 - g2**2) / f_low
    down = (g1 * msb) ** 2 + (h2 * msw) ** 2 + g12 * msb * msw
    up = (h1 * msb) ** 2 + (g2 * msw) ** 2 + h12 * msb * msw
    low = (msb - msw - np.sqrt(np.maximum(down, 0.0))) / layout.replicates
    high = (msb - msw + np.sqrt(np.maximum(up, 0.0))) / layout.replicates
    return np.maximum(low, 0.0), np.maximum(high, 0.0)


def total_variance(between: ArrayLike, within: ArrayLike, replicates: float) -> Floats:
    """Between plus within variance as MSB/n + (1 - 1/n) MSW, not truncated."""
    share = 1.0 / replicates
    return share * np.asarray(between, dtype=np.float64) + (1.0 - share) * np.asarray(within)


def satterthwaite_df(between: ArrayLike, within: ArrayLike, layout: Layout) -> Floats:
    """Degrees of freedom of the total variance, which must not be zero."""
    share = 1.0 / layout.replicates
    first = (share * np.asarray(between, dtype=np.float64)) ** 2 / layout.df_between
    second = ((1.0 - share) * np.asarray(within, dtype=np.float64)) ** 2 / layout.df_within
    return total_variance(between, within, layout.replicates) ** 2 / (first + second)


def satterthwaite_limits(
    total: ArrayLike, df: ArrayLike, confidence: float
) -> tuple[Floats, Floats]:
    """Two-sided limits of the total variance from its degrees of freedom."""
    tail = (1.0 - confidence) / 2.0
    scaled = np.asarray(df, dtype=np.float64) * np.asarray(total, dtype=np.float64)
    return scaled / chi2_quantile(1.0 - tail, df), scaled / chi2_quantile(tail, df)


def graybill_wang_upper(
    between: ArrayLike, within: ArrayLike, layout: Layout, confidence: float
) -> Floats:
    """Upper limit of the total variance at one-sided `confidence`."""
    share = 1.0 / layout.replicates
    first = share * np.asarray(between, dtype=np.float64)
    second = (1.0 - share) * np.asarray(within, dtype=np.float64)
    h1, h2 = (
        df / chi2_quantile(1.0 - confidence, df) - 1.0
        for df in (layout.df_between, layout.df_within)
    )
    return np.asarray(first + second + np.sqrt((h1 * first) ** 2 + (h2 * second) ** 2))


def component_intervals(table: OneWay, confidence: float = 0.95) -> ComponentIntervals:
    """All intervals of one table at one confidence level (0 to 1, exclusive)."""
    squares = mean_squares(table)
    layout, msb, msw = squares.layout, squares.between, squares.within
    note = ", approximate: unequal replicates" if squares.approximate else ""
    total = total_variance(msb, msw, layout.replicates)
    total_df = float(satterthwaite_df(msb, msw, layout)) if msb + msw > 0 else None

    def two_sided(limits: tuple[Floats, Floats], method: str) -> Interval:
        return Interval(float(limits[0]), float(limits[1]), confidence, method)

    return ComponentIntervals(
        within=two_sided(chi2_limits(msw, layout.df_within, confidence), "exact, chi-squared"),
        between=two_sided(mls_limits(msb, msw, layout, confidence), f"modified large-sample{note}"),
        total=two_sided(
            # Without any variance the limits are zero for any degrees of freedom.
            satterthwaite_limits(total, total_df or 1.0, confidence),
            f"Satterthwaite{note}",
        ),
        total_df=total_df,
        total_upper=Interval(
            None,
            float(graybill_wang_upper(msb, msw, layout, confidence)),
            confidence,
            f"Graybill-Wang, one-sided{note}",
        ),
        icc=two_sided(icc_limits(msb / msw, layout, confidence), f"exact, F{note}")
        if msw > 0
        else None,
    )
