"""Does the assay depend on how the sample was taken? Mass, depth, position, order, time open.

Such a dependence suggests sampling bias. A factor is compared at the finest level at which it
varies: among the replicates of one spot, else among the ports of one insertion, else among
locations. A factor that varies between spots is tested between spots: the ports of one insertion
are compared by the means of their spots, since the replicates of one spot share its location
effect. Replicates and ports are centred on the mean of their group, so that a difference between
places cannot appear as a trend. Reported are Pearson's r with Fisher's interval, the slope,
Spearman's rank correlation, and p-values adjusted by Holm's method over the factors tested.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from assistant.evaluation.quantiles import Floats, normal_quantile, t_two_sided
from assistant.evaluation.results import Result, Spot

REPLICATES = "replicates at one spot"
PORTS = "ports of one insertion"
MEANS = "location means"
_FEWEST_DF = 2
_FLAT = 1e-12
_ROUNDING = 1e-9
"""Means of equal values may differ by up to this, from rounding."""


@dataclass(frozen=True, slots=True)
class Trend:
    """Association of the assay (% of target) with one factor."""

    factor: str
    unit: str
    basis: str
    """One of `REPLICATES`, `PORTS` and `MEANS`."""
    n: int
    df: int
    slope: float
    """Change of the assay, % of target, for one unit of the factor."""
    span: float
    """Range of the factor over the compared values, in its unit."""
    r: float
    r_low: float | None
    """95 % limits of r after Fisher; None if r is 1 or -1."""
    r_high: float | None
    p: float
    p_adjusted: float
    """p after Holm's adjustment over all factors reported together."""
    rank_r: float
    """Spearman's rank correlation of the compared values."""

    @property
    def effect(self) -> float:
        """Change of the assay over the factor's whole range, % of target."""
        return self.slope * self.span


_FACTORS: tuple[tuple[str, str, Callable[[Result], float | None]], ...] = (
    ("sample mass", "mg", lambda result: result.mass_mg),
    ("port depth", "mm", lambda result: result.depth_mm),
    ("shaft position", "position from the bottom", lambda result: float(result.position)),
    (
        "insertion order",
        "insertion",
        lambda result: None if result.insertion_order is None else float(result.insertion_order),
    ),
    ("time open", "s", lambda result: result.open_seconds),
)


def trends(results: Sequence[Result]) -> tuple[Trend, ...]:
    """Trends of every factor that is known and varies, in a fixed order."""
    found: list[Trend] = []
    for name, unit, take in _FACTORS:
        pairs = [
            (result.spot, value, result.assay)
            for result in results
            if (value := take(result)) is not None
        ]
        trend = _trend(name, unit, pairs)
        if trend is not None:
            found.append(trend)
    adjusted = holm([trend.p for trend in found])
    return tuple(replace(trend, p_adjusted=p) for trend, p in zip(found, adjusted, strict=True))


def holm(p_values: Sequence[float]) -> tuple[float, ...]:
    """Holm's step-down adjusted p-values, in the order given."""
    order = sorted(range(len(p_values)), key=lambda i: p_values[i])
    adjusted = [0.0] * len(p_values)
    running = 0.0
    for rank, index in enumerate(order):
        running = max(running, min(1.0, (len(p_values) - rank) * p_values[index]))
        adjusted[index] = running
    return tuple(adjusted)


def _trend(name: str, unit: str, pairs: Sequence[tuple[Spot, float, float]]) -> Trend | None:
    """One factor, at the finest level possible; None if it cannot be compared."""
    points, df, basis = _comparable(pairs)
    if df < _FEWEST_DF:
        return None
    x, y = points[:, 0] - points[:, 0].mean(), points[:, 1] - points[:, 1].mean()
    r = correlation(x, y)
    if r is None:
        return None
    low, high = _fisher(r, df)
    return Trend(
        factor=name,
        unit=unit,
        basis=basis,
        n=len(points),
        df=df,
        slope=float((x * y).sum() / (x * x).sum()),
        span=float(np.ptp(np.asarray([x for _, x, _ in pairs]))),
        r=r,
        r_low=low,
        r_high=high,
        p=_p_value(r, df),
        p_adjusted=1.0,
        rank_r=rank_correlation(x, y),
    )


def _comparable(pairs: Sequence[tuple[Spot, float, float]]) -> tuple[Floats, int, str]:
    """(n, 2) factor and assay to be compared, degrees of freedom, and the basis."""
    spots: dict[Spot, list[tuple[float, float]]] = {}
    locations: dict[str, list[tuple[float, float]]] = {}
    for spot, x, y in pairs:
        spots.setdefault(spot, []).append((x, y))
        locations.setdefault(spot.location, []).append((x, y))
    replicates = [np.asarray(group, dtype=np.float64) for group in spots.values()]
    if any(np.ptp(group[:, 0]) > 0 for group in replicates):
        return *_centred(replicates), REPLICATES
    by_location: dict[str, list[Floats]] = {}
    for spot, group in zip(spots, replicates, strict=True):
        by_location.setdefault(spot.location, []).append(group.mean(axis=0))
    ports = [np.asarray(group) for group in by_location.values()]
    if any(np.ptp(group[:, 0]) > _ROUNDING for group in ports):
        return *_centred(ports), PORTS
    means = [np.asarray(group).mean(axis=0) for group in locations.values()]
    return np.asarray(means, dtype=np.float64).reshape(-1, 2), len(means) - 2, MEANS


def _centred(groups: Sequence[Floats]) -> tuple[Floats, int]:
    """Points centred on their group mean, and the degrees of freedom of a common slope."""
    points = np.concatenate([group - group.mean(axis=0) for group in groups])
    return points, len(points) - len(groups) - 1


def correlation(x: Floats, y: Floats) -> float | None:
    """Pearson's r of two centred arrays; None if one of them does not vary."""
    sx, sy = float(np.sqrt((x * x).sum())), float(np.sqrt((y * y).sum()))
    if sx <= _FLAT or sy <= _FLAT:
        return None
    r = float((x * y).sum()) / (sx * sy)
    return math.copysign(1.0, r) if abs(r) > 1.0 - _FLAT else r


def rank_correlation(x: Floats, y: Floats) -> float:
    """Spearman's rank correlation: Pearson's r of the ranks, ties get their mean rank."""
    from scipy import stats  # noqa: PLC0415 - slow to import, used only here

    # After centring, equal values differ by rounding errors; twelve decimals restore the ties.
    ranks = [stats.rankdata(np.round(v, 12)) for v in (x, y)]
    r = correlation(ranks[0] - ranks[0].mean(), ranks[1] - ranks[1].mean())
    return 0.0 if r is None else r


def _p_value(r: float, df: int) -> float:
    """Two-sided p-value of r at `df` degrees of freedom."""
    if abs(r) >= 1.0:
        return 0.0
    return float(t_two_sided(r * math.sqrt(df / (1.0 - r * r)), df))


def _fisher(r: float, df: int) -> tuple[float | None, float | None]:
    """95 % limits of r; the variance of Fisher's z is 1/(df - 1)."""
    if abs(r) >= 1.0:
        return None, None
    half = float(normal_quantile(0.975)) / math.sqrt(df - 1)
    return math.tanh(math.atanh(r) - half), math.tanh(math.atanh(r) + half)
