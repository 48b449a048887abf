"""Operating characteristics: how often would a blend of a given quality pass each scheme?

A seeded Monte Carlo on the one-way normal model: location effects with the between-location SD,
individuals with the within-location SD. One set of standard normal draws is used for every point of
a grid (common random numbers): curves are smooth and comparable, and each point has its own
binomial standard error. The statistics that the rules need (means, sums of squares, extremes) are
linear or quadratic in the two SDs, so that a point costs one pass over the location effects.

The rules are those of `schemes` and `withdrawn_fda_2003`, written for arrays; a test checks that
they agree.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from assistant.errors import InputError
from assistant.evaluation.acceptance_value import K_STAGE, L1, L2, reference
from assistant.evaluation.e2810 import STANDARD, Demand, largest_sigma, region_factors
from assistant.evaluation.intervals import Layout, graybill_wang_upper
from assistant.evaluation.quantiles import Floats, t_quantile
from assistant.evaluation.schemes import SD_PASS, SD_TIGHTENED
from assistant.evaluation.withdrawn_fda_2003 import BLEND_DISTANCE, BLEND_RSD

Booleans = NDArray[np.bool_]
_DUST = 5e-10
_MOST_DRAWS = 50_000_000


@dataclass(frozen=True, slots=True)
class Design:
    """Number of locations and of results per location."""

    locations: int
    replicates: int

    def __post_init__(self) -> None:
        """Check the numbers.

        Raises:
            InputError: fewer than two locations or no result per location.
        """
        if self.locations < 2 or self.replicates < 1:  # noqa: PLR2004 - at least two can differ
            raise InputError(
                f"A design of {self.locations} locations x {self.replicates} cannot be evaluated: "
                "two or more locations with one or more results each are needed."
            )


@dataclass(frozen=True, slots=True)
class Trials:
    """The statistics that the rules use, for T simulated studies with a locations each."""

    design: Design
    firsts: Floats
    """(T, a): one result per location, % of target."""
    mean: Floats
    """(T,): mean of all results."""
    ms_between: Floats
    """(T,)."""
    ms_within: Floats
    """(T,); zero without replicates."""
    low: Floats
    """(T,): lowest individual."""
    high: Floats
    """(T,): highest individual."""


Rule = Callable[[Trials, Demand], Booleans]


@dataclass(frozen=True, slots=True)
class Characteristic:
    """Probability of meeting each scheme over an array of qualities."""

    design: Design
    mean: float
    between_sd: Floats
    within_sd: Floats
    trials: int
    seed: int
    probability: Mapping[str, Floats]
    """By scheme, in the broadcast shape of the two SDs."""

    def standard_error(self, scheme: str) -> Floats:
        """Monte-Carlo standard error of the scheme's probabilities.

        Two successes and two failures are added (Agresti & Coull), so that a share of 0 or 1
        does not get an error of zero.
        """
        share = (self.probability[scheme] * self.trials + 2.0) / (self.trials + 4.0)
        return np.sqrt(share * (1.0 - share) / (self.trials + 4.0))


def observed(values: ArrayLike) -> Trials:
    """Build trials from results of shape (T, locations, replicates)."""
    x = np.asarray(values, dtype=np.float64)
    design = Design(x.shape[1], x.shape[2])
    means = x.mean(axis=2)
    within = ((x - means[..., None]) ** 2).sum(axis=(1, 2))
    return _trials(design, x[:, :, 0], means, within, (x.min(axis=(1, 2)), x.max(axis=(1, 2))))


def _trials(
    design: Design, firsts: Floats, means: Floats, ss_within: Floats, range_: tuple[Floats, Floats]
) -> Trials:
    a, n = design.locations, design.replicates
    grand = means.mean(axis=1)
    squares = np.einsum("ij,ij->i", means, means) - a * grand**2
    return Trials(
        design,
        firsts,
        grand,
        n * np.maximum(squares, 0.0) / (a - 1),
        ss_within / max(a * (n - 1), 1),
        *range_,
    )


def characteristic(
    design: Design,
    between_sd: ArrayLike,
    within_sd: ArrayLike,
    *,
    seed: int,
    mean: float = 100.0,
    trials: int = 2000,
    demand: Demand = STANDARD,
) -> Characteristic:
    """Probability of meeting each applicable scheme, by simulation.

    Args:
        design: locations and replicates.
        between_sd: between-location SDs, % of target, >= 0.
        within_sd: within-location SDs (sampling and method together), % of target, >= 0; both
            broadcast, so (B, 1) and (1, W) make a grid.
        seed: seed of the random numbers; the same seed gives the same result.
        mean: true mean, % of target.
        trials: simulated studies per point.
        demand: confidence, coverage and target of the acceptance limits.

    Raises:
        InputError: a negative SD, or more draws than should be held in memory.
    """
    between, within = np.broadcast_arrays(
        np.asarray(between_sd, dtype=np.float64), np.asarray(within_sd, dtype=np.float64)
    )
    _check(design, between, within, trials)
    rules, draws = applicable(design), _Draws(design, trials, seed)
    shares: dict[str, Floats] = {name: np.empty(between.size) for name in rules}
    for index, (sb, sw) in enumerate(zip(between.ravel(), within.ravel(), strict=True)):
        simulated = draws.at(float(sb), float(sw), mean)
        for name, rule in rules.items():
            shares[name][index] = rule(simulated, demand).mean()
    shaped = {name: share.reshape(between.shape) for name, share in shares.items()}
    return Characteristic(
        design, mean, between.copy(), within.copy(), trials, seed, MappingProxyType(shaped)
    )


def _check(design: Design, between: Floats, within: Floats, trials: int) -> None:
    if between.size and not (min(between.min(), within.min()) >= 0.0):
        raise InputError("A standard deviation below zero cannot be simulated: give 0 or more.")
    if trials < 1 or trials * design.locations * design.replicates > _MOST_DRAWS:
        raise InputError(
            f"{trials} trials of {design.locations} x {design.replicates} results cannot be "
            f"simulated: ask for 1 trial or more and at most {_MOST_DRAWS} results in all."
        )


class _Draws:
    """Standard normal draws of one design, and the statistics the rules need of them."""

    def __init__(self, design: Design, trials: int, seed: int) -> None:
        generator = np.random.default_rng(seed)
        a, n = design.locations, design.replicates
        self.design = design
        self.location = generator.standard_normal((trials, a))
        inside = generator.standard_normal((trials, a, n))
        self.first = inside[:, :, 0].copy()
        self.centre = inside.mean(axis=2)
        self.squares = ((inside - self.centre[..., None]) ** 2).sum(axis=(1, 2))
        self.least, self.most = inside.min(axis=2), inside.max(axis=2)

    def at(self, between: float, within: float, mean: float) -> Trials:
        """The trials at one quality; sums of squares are about the mean, so it is added last."""
        effect = between * self.location
        found = _trials(
            self.design,
            effect + within * self.first + mean,
            effect + within * self.centre,
            within * within * self.squares,
            (
                (effect + within * self.least).min(axis=1) + mean,
                (effect + within * self.most).max(axis=1) + mean,
            ),
        )
        return Trials(
            found.design,
            found.firsts,
            found.mean + mean,
            found.ms_between,
            found.ms_within,
            found.low,
            found.high,
        )


def applicable(design: Design) -> dict[str, Rule]:
    """The rules that apply to the design, by name, in a fixed order."""
    rules: dict[str, Rule] = {}
    if design.locations >= 10:  # noqa: PLR2004 - the draft's minimum
        rules["fda-2003-blend"] = fda_2003_blend
    rules["industry-2014 stage 1"] = industry_stage_1
    if design.replicates > 1:
        rules["industry-2014 stage 2"] = industry_stage_2
        rules["industry-2014 stage 2, tightened"] = industry_tightened
    if design.locations == 10:  # noqa: PLR2004 - the chapter's stage 1
        if design.replicates == 3:  # noqa: PLR2004 - the chapter's stage 2 has 30
            rules["usp-905"] = usp_905
        else:
            rules["usp-905 stage 1"] = usp_905_stage_1
    rules["e2810-plan-1"] = e2810_plan_1
    if design.replicates > 1:
        rules["e2810-plan-2"] = e2810_plan_2
    return rules


def fda_2003_blend(trials: Trials, _: Demand) -> Booleans:
    """RSD <= 5.0 % and all within 10.0 % of the mean, one result per location."""
    x = trials.firsts
    mean = x.mean(axis=1)
    distance = np.maximum(x.max(axis=1) - mean, mean - x.min(axis=1))
    close = distance <= BLEND_DISTANCE + _DUST
    tight = 100.0 * x.std(axis=1, ddof=1) <= (BLEND_RSD + _DUST) * mean
    return np.asarray(close & tight)


def industry_stage_1(trials: Trials, _: Demand) -> Booleans:
    """SD of one result per location, to one decimal, <= 3.0 % of target."""
    return _sd_at_most(trials.firsts.std(axis=1, ddof=1), SD_PASS)


def industry_stage_2(trials: Trials, _: Demand) -> Booleans:
    """SD of all results, to one decimal, <= 3.0 % of target."""
    return _sd_at_most(_overall_sd(trials), SD_PASS)


def industry_tightened(trials: Trials, _: Demand) -> Booleans:
    """SD of all results, to one decimal, <= 5.0 % of target."""
    return _sd_at_most(_overall_sd(trials), SD_TIGHTENED)


def usp_905_stage_1(trials: Trials, demand: Demand) -> Booleans:
    """Acceptance value of ten, to one decimal, <= 15.0."""
    x = trials.firsts
    return _av_met(x.mean(axis=1), x.std(axis=1, ddof=1), 10, demand.target)


def usp_905(trials: Trials, demand: Demand) -> Booleans:
    """Stage 1 on ten results or stage 2 on thirty."""
    m = reference(trials.mean, demand.target)
    second = _av_met(trials.mean, _overall_sd(trials), 30, demand.target)
    second &= trials.low >= (1.0 - 0.01 * L2) * m - _DUST
    second &= trials.high <= (1.0 + 0.01 * L2) * m + _DUST
    return usp_905_stage_1(trials, demand) | second


def e2810_plan_1(trials: Trials, demand: Demand) -> Booleans:
    """The acceptance limit on one result per location."""
    x = trials.firsts
    ratio, half = region_factors(x.shape[1], demand.confidence)
    sigma = ratio * x.std(axis=1, ddof=1)
    return _inside(x.mean(axis=1), half * sigma, sigma, demand)


def e2810_plan_2(trials: Trials, demand: Demand) -> Booleans:
    """The acceptance limit on all results, using both components of variance."""
    a, n = trials.design.locations, trials.design.replicates
    side = float(np.sqrt(demand.confidence))
    layout = Layout(a - 1, a * (n - 1), n)
    sigma = np.sqrt(graybill_wang_upper(trials.ms_between, trials.ms_within, layout, side))
    half = t_quantile((1.0 + side) / 2.0, a - 1) * np.sqrt(trials.ms_between / (a * n))
    return _inside(trials.mean, half, sigma, demand)


def _inside(mean: Floats, half: Floats, sigma: Floats, demand: Demand) -> Booleans:
    """Whether both corners of the region are below the curve of the largest sigma."""
    grid, curve = _sigma_curve(demand)
    low = np.interp(mean - half, grid, curve, left=0.0, right=0.0)
    high = np.interp(mean + half, grid, curve, left=0.0, right=0.0)
    return np.asarray(sigma <= np.minimum(low, high))


@lru_cache(maxsize=8)
def _sigma_curve(demand: Demand) -> tuple[Floats, Floats]:
    """Largest sigma as a function of the mean, every 0.02 % of target; zero outside."""
    top = max(demand.target, 100.0) + 20.0
    grid = np.linspace(80.0, top, round((top - 80.0) / 0.02) + 1)
    return grid, largest_sigma(grid, 0.0, demand.coverage, demand.target)


def _overall_sd(trials: Trials) -> Floats:
    a, n = trials.design.locations, trials.design.replicates
    squares = (a - 1) * trials.ms_between + a * (n - 1) * trials.ms_within
    return np.sqrt(squares / (a * n - 1))


def _sd_at_most(sd: Floats, limit: float) -> Booleans:
    """SD rounded half up to one decimal <= limit."""
    return np.asarray(sd < limit + 0.05 - _DUST)


def _av_met(mean: Floats, sd: Floats, units: int, target: float) -> Booleans:
    """Acceptance value rounded half up to one decimal <= L1."""
    av = np.abs(reference(mean, target) - mean) + K_STAGE[units] * sd
    return np.asarray(av < L1 + 0.05 - _DUST)
