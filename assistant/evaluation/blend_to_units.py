"""Blend samples against the dosage units made of the blend: bias and ratio of spreads.

A thief that prefers or loses active shows as a difference between the mean of its samples and that
of the units, and a blend that separates on its way to the press as a wider spread of the units.
The mean of each location is one observation, so that results of one place are not counted as
independent: the difference has Welch's interval (Welch 1947). The spreads are compared with one
result of each location on either side, the ratio of variances with its interval from F; it assumes
normal results. Both are descriptions, not criteria.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from assistant.evaluation.descriptive import summarise
from assistant.evaluation.quantiles import f_quantile, t_quantile

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class BlendToUnits:
    """The comparison, % of target."""

    blend_mean: float
    """Unweighted mean of the location means."""
    units_mean: float
    bias: float
    """Blend less units."""
    bias_low: float | None
    """None if no location differs from another, so that no error can be stated."""
    bias_high: float | None
    df: float | None
    """Welch's degrees of freedom."""
    blend_sd: float
    """SD of one result of each location."""
    units_sd: float
    ratio: float | None
    """Units over blend; None if either has no spread."""
    ratio_low: float | None
    ratio_high: float | None
    confidence: float = CONFIDENCE

    @property
    def biased(self) -> bool:
        """Whether the interval of the bias excludes zero."""
        if self.bias_low is None or self.bias_high is None:
            return self.bias != 0.0
        return self.bias_low > 0.0 or self.bias_high < 0.0

    @property
    def spread_differs(self) -> bool:
        """Whether the interval of the ratio of spreads excludes one."""
        if self.ratio_low is None or self.ratio_high is None:
            return False
        return self.ratio_low > 1.0 or self.ratio_high < 1.0


def compare(
    blend: Sequence[Sequence[float]],
    units: Sequence[Sequence[float]],
    blend_firsts: Sequence[float],
    units_firsts: Sequence[float],
) -> BlendToUnits:
    """Compare blend and units, both in % of target.

    Args:
        blend: results by spot, two spots or more.
        units: results by location, two locations or more.
        blend_firsts: one result of each spot.
        units_firsts: one result of each location.
    """
    one, other = (summarise([sum(g) / len(g) for g in groups]) for groups in (blend, units))
    bias = one.mean - other.mean
    errors = [(found.sd or 0.0) ** 2 / found.n for found in (one, other)]
    low = high = df = None
    if sum(errors) > 0:
        df = sum(errors) ** 2 / sum(
            error**2 / (found.n - 1) for error, found in zip(errors, (one, other), strict=True)
        )
        half = float(t_quantile((1.0 + CONFIDENCE) / 2.0, df)) * sqrt(sum(errors))
        low, high = bias - half, bias + half
    first, second = (summarise(values).sd or 0.0 for values in (blend_firsts, units_firsts))
    ratio, least, most = _ratio(first, second, len(blend_firsts) - 1, len(units_firsts) - 1)
    return BlendToUnits(
        one.mean, other.mean, bias, low, high, df, first, second, ratio, least, most
    )


def _ratio(
    blend_sd: float, units_sd: float, df_blend: int, df_units: int
) -> tuple[float | None, float | None, float | None]:
    """Units over blend with its interval."""
    if not blend_sd or not units_sd:
        return None, None, None
    ratio, tail = units_sd / blend_sd, (1.0 - CONFIDENCE) / 2.0
    low, high = (
        float(ratio / sqrt(float(f_quantile(p, df_units, df_blend)))) for p in (1.0 - tail, tail)
    )
    return ratio, low, high
