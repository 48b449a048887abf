"""Acceptance limits that give confidence in passing the dosage-unit test: ASTM E2709/E2810.

The question is not whether these units pass USP <905>, but whether, with the stated confidence, at
least the stated share (coverage, the lower bound LB) of all future samples would. Plans 1 and 2 by
the method of Bergum 1990; Bergum & Li, Pharm. Technol. Oct 2007. The standard's own text was not at
hand; the published limit 2.63 (n = 10, mean 97, 90 % confidence, 95 % coverage; Lewis & Fan, Stat
Biopharm Res 8:40-48, 2016) is reproduced by the tests.

For a normal population (mu, sigma) the bound on passing is max(P(S1), P(C21) + P(C22) - 1, 0):
S1 and C21 are "AV <= 15.0" with 10 and 30 units, C22 that all 30 lie in the narrowest window the
second criterion can leave, 76.125 to 123.125 % when T = 100. The joint confidence region of
(mu, sigma) is Lindgren's triangle, each side at sqrt(confidence); the bound decreases away from
the centre and with sigma, so the two upper corners of the region decide.

P(AV <= 15) is integrated over the standard deviation instead of the mean. Given s, the mean must
lie in one interval, so the integrand is smooth, the nodes depend only on the chi distribution, and
one fixed Gauss-Legendre rule works for whole arrays.

What the result does not mean: meeting the limits is not passing <905>; E2810 is not meant
for lot release; normality is assumed; blend samples are not dosage units.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from assistant.errors import InputError
from assistant.evaluation.acceptance_value import K_STAGE, L1, L2, LOW_REFERENCE, high_reference
from assistant.evaluation.intervals import graybill_wang_upper, mean_squares
from assistant.evaluation.quantiles import (
    Floats,
    chi2_quantile,
    normal_cdf,
    normal_quantile,
    t_quantile,
)
from assistant.evaluation.results import MOST_PERCENT
from assistant.evaluation.root_finding import falling_root
from assistant.evaluation.variance import OneWay

NODES = 40
"""Gauss-Legendre nodes: over the tested range, 24 are accurate to 3e-5 of a limit, 32 to 1e-7."""
_TAIL = 1e-13
"""Probability left out at each end of the chi distribution."""
LEAST_LEVEL = 0.01
"""Smallest confidence or coverage accepted."""
SMALLEST_SIGMA = 1e-4
"""Smallest sigma considered, % of target: such units practically equal their mean."""
LARGEST_SIGMA = 20.0
"""With this SD no mean passes with probability `LEAST_LEVEL`: k s alone is far above 15."""


@dataclass(frozen=True, slots=True)
class Demand:
    """Requirements behind an acceptance limit."""

    confidence: float = 0.90
    coverage: float = 0.95
    """Required lower bound on the probability of passing."""
    target: float = 100.0
    """T of the acceptance value, % of target."""

    def __post_init__(self) -> None:
        """Check levels and target.

        Raises:
            InputError: a level lies outside `LEAST_LEVEL` to 1, or the target is not above 0.
        """
        for level in (self.confidence, self.coverage):
            if not LEAST_LEVEL <= level < 1.0:
                raise InputError(
                    f"A confidence or coverage of {level:g} is not between {LEAST_LEVEL:g} and 1; "
                    "95 % is written 0.95."
                )
        if not 0.0 < self.target <= MOST_PERCENT:
            raise InputError(f"A target of {self.target:g} % is not above 0.")


STANDARD = Demand()
"""90 % confidence, 95 % coverage, T = 100 %."""


@dataclass(frozen=True, slots=True)
class Bound:
    """Outcome of plan 1 or 2 for one set of units, % of target."""

    plan: int
    demand: Demand
    mean: float
    sigma_upper: float
    """Upper confidence limit of the standard deviation."""
    mean_low: float
    mean_high: float
    """Corners of the confidence region on the mean's axis."""
    probability: float
    """Lower bound on the probability of passing the dosage-unit test."""
    sd: float | None
    """Standard deviation of the units (plan 1)."""
    sd_limit: float | None
    """Largest standard deviation accepted at this mean (plan 1); None if there is none."""

    @property
    def accepted(self) -> bool:
        """Whether the bound reaches the coverage."""
        return self.probability >= self.demand.coverage


@lru_cache(maxsize=4)
def _unit_rule(nodes: int) -> tuple[Floats, Floats]:
    x, w = np.polynomial.legendre.leggauss(nodes)
    return (x + 1.0) / 2.0, w / 2.0


@lru_cache(maxsize=4)
def _chi_law(df: int) -> tuple[float, float, float]:
    """s/sigma at its extreme quantiles, and the logarithm of its density's constant."""
    low = float(np.sqrt(chi2_quantile(_TAIL, df) / df))
    high = float(np.sqrt(2.0 * special.gammainccinv(df / 2.0, _TAIL) / df))
    constant = np.log(2.0) + df / 2.0 * np.log(df / 2.0) - special.gammaln(df / 2.0)
    return low, high, float(constant)


def av_probability(mu: ArrayLike, sigma: ArrayLike, units: int, target: float = 100.0) -> Floats:
    """P(AV <= 15.0) of `units` (10 or 30) units from a normal population.

    Args:
        mu: means, % of target, of any shape.
        sigma: standard deviations > 0, % of target, of the same or a broadcasting shape.
        units: 10 or 30.
        target: T, % of target.
    """
    mean, sd = np.broadcast_arrays(np.asarray(mu, dtype=float), np.asarray(sigma, dtype=float))
    df, k = units - 1, K_STAGE[units]
    low, high, constant = _chi_law(df)
    top = np.minimum(high, L1 / (k * sd))
    width = np.maximum(top - low, 0.0)[..., None]
    nodes, weights = _unit_rule(NODES)
    t = low + width * nodes
    density = np.exp(constant + (df - 1) * np.log(t) - df / 2.0 * t * t)
    room = L1 - k * sd[..., None] * t
    scale = (np.sqrt(units) / sd)[..., None]
    inside = normal_cdf((high_reference(target) + room - mean[..., None]) * scale)
    inside = inside - normal_cdf((LOW_REFERENCE - room - mean[..., None]) * scale)
    return np.asarray(((density * inside) @ weights) * width[..., 0])


def units_probability(mu: ArrayLike, sigma: ArrayLike, target: float = 100.0) -> Floats:
    """Lower bound of P(C22): all 30 units inside every window the criterion can leave."""
    mean, sd = np.asarray(mu, dtype=np.float64), np.asarray(sigma, dtype=np.float64)
    upper = (1.0 + 0.01 * L2) * LOW_REFERENCE
    lower = (1.0 - 0.01 * L2) * high_reference(target)
    one = normal_cdf((upper - mean) / sd) - normal_cdf((lower - mean) / sd)
    return np.asarray(np.maximum(one, 0.0) ** 30)


def pass_bound(mu: ArrayLike, sigma: ArrayLike, target: float = 100.0) -> Floats:
    """Lower bound on the probability of passing both stages of the dosage-unit test."""
    first = av_probability(mu, sigma, 10, target)
    second = av_probability(mu, sigma, 30, target) + units_probability(mu, sigma, target) - 1.0
    return np.asarray(np.maximum(np.maximum(first, second), 0.0))


def region_factors(n: ArrayLike, confidence: ArrayLike) -> tuple[Floats, Floats]:
    """sigma_U / s, and half the width of the mean's interval in units of sigma_U (plan 1)."""
    side = np.sqrt(np.asarray(confidence, dtype=np.float64))
    count = np.asarray(n, dtype=np.float64)
    ratio = np.sqrt((count - 1.0) / chi2_quantile(1.0 - side, count - 1.0))
    half = normal_quantile((1.0 + side) / 2.0) / np.sqrt(count)
    return ratio, np.asarray(half)


def largest_sigma(
    mean: ArrayLike, half_width: ArrayLike, coverage: float = 0.95, target: float = 100.0
) -> Floats:
    """Largest sigma for which both corners mean -+ half_width x sigma reach the coverage.

    Args:
        mean: centres, % of target.
        half_width: half the width of the mean's interval, in units of sigma; 0 for a known mean.
        coverage: required lower bound on the probability of passing.
        target: T, % of target.

    Returns:
        Sigma in % of target, 0 if even identical units would not pass.
    """
    centre, half = np.broadcast_arrays(
        np.asarray(mean, dtype=np.float64), np.asarray(half_width, dtype=np.float64)
    )
    shape = centre.shape
    centre, half = centre.ravel(), half.ravel()
    goal = float(normal_quantile(coverage))

    def excess(sigma: Floats, which: np.ndarray) -> Floats:
        reach = half[which] * sigma
        low = pass_bound(centre[which] - reach, sigma, target)
        high = pass_bound(centre[which] + reach, sigma, target)
        # On the probit scale the bound is nearly linear in sigma, which suits the root finder.
        return normal_quantile(np.clip(np.minimum(low, high), 1e-12, 1.0 - 1e-12)) - goal

    return falling_root(excess, SMALLEST_SIGMA, LARGEST_SIGMA, len(centre)).reshape(shape)


def sd_limits(
    n: ArrayLike,
    mean: ArrayLike,
    confidence: ArrayLike = 0.90,
    coverage: float = 0.95,
    target: float = 100.0,
) -> Floats:
    """Plan 1: the largest sample standard deviation accepted, % of target.

    Args:
        n: numbers of units, one from each location, 2 or more.
        mean: sample means, % of target.
        confidence: confidence levels; the three arguments broadcast together.
        coverage: required lower bound on the probability of passing.
        target: T, % of target.

    Returns:
        Limits of the broadcast shape; 0 if no standard deviation is accepted.
    """
    ratio, half = region_factors(n, confidence)
    return np.asarray(largest_sigma(mean, half, coverage, target) / ratio)


def plan_1(mean: float, sd: float, n: int, demand: Demand = STANDARD) -> Bound:
    """One unit from each of n >= 2 locations, with mean and standard deviation in % of target."""
    ratio, half = region_factors(n, demand.confidence)
    sigma = max(sd * float(ratio), SMALLEST_SIGMA)
    limit = float(sd_limits(n, mean, demand.confidence, demand.coverage, demand.target))
    low, high = mean - float(half) * sigma, mean + float(half) * sigma
    probability = float(pass_bound([low, high], sigma, demand.target).min())
    return Bound(1, demand, mean, sigma, low, high, probability, sd, limit or None)


def plan_2(table: OneWay, demand: Demand = STANDARD) -> Bound:
    """Several units from each location.

    Sigma is bounded by Graybill & Wang on the sum of both components, the mean by Student's t on
    the location means; each side at sqrt(confidence). The t interval is this program's choice,
    exact for a balanced design; the standard's own method was not at hand.
    """
    side = float(np.sqrt(demand.confidence))
    squares = mean_squares(table)
    layout = squares.layout
    variance = graybill_wang_upper(squares.between, squares.within, layout, side)
    sigma = max(float(np.sqrt(variance)), SMALLEST_SIGMA)
    centre = sum(table.means) / len(table.means) if squares.approximate else table.mean
    error = np.sqrt(squares.between / (layout.replicates * len(table.means)))
    half = float(t_quantile((1.0 + side) / 2.0, layout.df_between) * error)
    low, high = centre - half, centre + half
    probability = float(pass_bound([low, high], sigma, demand.target).min())
    return Bound(2, demand, centre, sigma, low, high, probability, sd=None, sd_limit=None)
