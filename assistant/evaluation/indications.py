"""What the pattern of the results points to, in words; never a decision.

Two questions are kept apart throughout. "Significant" asks whether chance alone could explain
it; "large" asks whether it matters. What counts as large is this program's choice, half the
industry limit of 3.0 % of target, and can be set; ISO Guide 35 makes the same distinction.

A high between-location spread points to the blend; a high within-location spread to the sampling,
to agglomerates or to the method; a trend with depth, position, order, mass or time open to the
thief; a spread below that of a perfect random mixture to the data.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from assistant.evaluation.descriptive import Summary
from assistant.evaluation.intervals import ComponentIntervals
from assistant.evaluation.quantiles import Floats, chi2_quantile
from assistant.evaluation.trends import Trend
from assistant.evaluation.variance import OneWay


class Cause(StrEnum):
    """Where an indication points."""

    BLEND = "the blend"
    SAMPLING = "the sampling, agglomerates or the analytical method"
    THIEF = "the sampling thief"
    DATA = "the data"
    NONE = "nothing in particular"


_LARGE_WITHIN = {
    True: "The spread within locations is large: this points to the sampling, to agglomerates or "
    "to the method.",
    False: "The spread within locations is small.",
}
_AGAINST_METHOD = {
    None: "",
    True: " It is more than the analytical method explains.",
    False: " The analytical method alone can explain it.",
}


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Limits for calling something significant and for calling it large."""

    significance: float = 0.05
    """Largest p-value called significant."""
    large_sd: float = 1.5
    """Smallest standard deviation of a component called large, % of target."""
    large_effect: float = 3.0
    """Smallest change over a factor's range called large, % of target."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A number that supports an indication."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class Indication:
    """One worded indication with its numbers."""

    about: str
    cause: Cause
    significant: bool | None
    """None where no test can be made."""
    large: bool
    sentence: str
    figures: tuple[Figure, ...]


def between_locations(
    table: OneWay, intervals: ComponentIntervals, thresholds: Thresholds
) -> Indication:
    """Does the spread between locations point to the blend?"""
    sd = table.between**0.5
    # Without any spread within locations every difference between them is significant.
    p = table.p if table.p is not None else float(table.ms_between == 0.0)
    significant, large = p <= thresholds.significance, sd >= thresholds.large_sd
    words = {
        (True, True): "Locations differ by more than chance, and by a large amount: this points "
        "to the blend (too little or too much mixing, or segregation).",
        (True, False): "Locations differ by more than chance, but by a small amount: the "
        "difference is below what is called large here.",
        (False, True): "The estimate of the difference between locations is large, but it "
        "may be chance: this study cannot tell.",
        (False, False): "No difference between locations beyond chance, and the estimate is small.",
    }
    return Indication(
        about="between locations",
        cause=Cause.BLEND if significant and large else Cause.NONE,
        significant=significant,
        large=large,
        sentence=words[significant, large],
        figures=(
            Figure("SD between locations", sd, "% of target"),
            Figure("upper limit of that SD", intervals.between.upper**0.5, "% of target"),
            Figure("p of the F test", p, ""),
            Figure("taken as large from", thresholds.large_sd, "% of target"),
        ),
    )


def within_locations(
    table: OneWay,
    intervals: ComponentIntervals,
    thresholds: Thresholds,
    method_sd: float | None = None,
) -> Indication:
    """Does the spread within locations point to the sampling or the method?

    Args:
        table: the analysis of variance.
        intervals: its intervals.
        thresholds: limits for significant and large.
        method_sd: standard deviation of the analytical method, % of target, if known;
            the spread is then tested against it by chi-squared.
    """
    sd = table.residual_sd
    large = sd >= thresholds.large_sd
    significant: bool | None = None
    figures: tuple[Figure, ...] = (
        Figure("SD within locations", sd, "% of target"),
        Figure("upper limit of that SD", intervals.within.upper**0.5, "% of target"),
        Figure("taken as large from", thresholds.large_sd, "% of target"),
    )
    if method_sd is not None:
        critical = float(chi2_quantile(1.0 - thresholds.significance, table.df_within))
        significant = table.ss_within > critical * method_sd**2
        figures = (*figures, Figure("SD of the method", method_sd, "% of target"))
    return Indication(
        about="within locations",
        cause=Cause.SAMPLING if large else Cause.NONE,
        significant=significant,
        large=large,
        sentence=_LARGE_WITHIN[large] + _AGAINST_METHOD[significant],
        figures=figures,
    )


def trend_indications(found: Sequence[Trend], thresholds: Thresholds) -> tuple[Indication, ...]:
    """One indication per factor whose trend is significant or large."""
    indications = []
    for trend in found:
        significant = trend.p_adjusted <= thresholds.significance
        large = abs(trend.effect) >= thresholds.large_effect
        if significant or large:
            indications.append(_trend_indication(trend, significant=significant, large=large))
    return tuple(indications)


def _trend_indication(trend: Trend, *, significant: bool, large: bool) -> Indication:
    start = f"The assay {'rises' if trend.slope > 0 else 'falls'} with the {trend.factor}"
    if significant and large:
        layers = " or to layers in the bed" if trend.factor == "port depth" else ""
        sentence = (
            f"{start}, by more than chance and by a large amount: this points to the thief{layers}."
        )
    elif significant:
        sentence = (
            f"{start}, by more than chance but by a small amount: a possible bias of the thief."
        )
    else:
        sentence = f"{start} by a large amount, but this may be chance."
    return Indication(
        about=trend.factor,
        cause=Cause.THIEF if significant else Cause.NONE,
        significant=significant,
        large=large,
        sentence=sentence,
        figures=(
            Figure("change over the factor's range", trend.effect, "% of target"),
            Figure("slope", trend.slope, f"% of target per {trend.unit}"),
            Figure("correlation", trend.r, ""),
            Figure("p, adjusted for the factors looked at", trend.p_adjusted, ""),
        ),
    )


def against_random_mixture(
    summary: Summary, random_rsd: float, thresholds: Thresholds
) -> Indication | None:
    """Is the spread below that of a perfect random mixture?

    Args:
        summary: of all results.
        random_rsd: RSD of the random mixture for this sample mass, %, as the plan computes it.
        thresholds: limits for significant.

    Returns:
        An indication, or None if the spread is not below the limit or has no RSD.
    """
    if summary.rsd is None or summary.rsd >= random_rsd:
        return None
    quantile = float(chi2_quantile(thresholds.significance, summary.n - 1))
    upper = summary.rsd * ((summary.n - 1) / quantile) ** 0.5
    significant = upper < random_rsd
    tail = (
        "and by more than chance: check the data (copied or averaged results, particle size)."
        if significant
        else "though this may be chance: check the particle size behind the limit."
    )
    return Indication(
        about="random mixture",
        cause=Cause.DATA,
        significant=significant,
        large=summary.rsd <= random_rsd / 2.0,
        sentence=f"The spread is below that of a perfect random mixture, {tail}",
        figures=(
            Figure("RSD of all results", summary.rsd, "%"),
            Figure("upper limit of that RSD", upper, "%"),
            Figure("RSD of the random mixture", random_rsd, "%"),
        ),
    )


def no_variation(values: Sequence[float]) -> Indication | None:
    """An indication if all results are the same number."""
    numbers: Floats = np.asarray(values, dtype=np.float64)
    if float(np.ptp(numbers)) > 0.0:
        return None
    return Indication(
        about="no variation",
        cause=Cause.DATA,
        significant=None,
        large=True,
        sentence="All results are equal, which no real blend, sampler and method produce: "
        "check the data.",
        figures=(Figure("every result", float(numbers[0]), "% of target"),),
    )
