"""How probable is it that a further sample of units passes the dosage-unit test? By simulation.

A Bayesian prediction with the usual flat priors (mean, and logarithm of each mean square): first
the batch's mean and variances are drawn from what the results leave open, then 10 and 30 units from
that batch, judged by both stages of <905> (acceptance value, compared unrounded, and the range of
individuals).

One result a location, n of them: sigma^2 = (n - 1) s^2 / chi2(n - 1), mu ~ N(mean, sigma^2 / n),
which is the normal likelihood times the prior 1 / sigma^2, integrated. Several, by the mean squares
of a balanced one-way analysis with a locations of n: MSW and MSB are drawn likewise with their own
degrees of freedom, sigma^2 = within + between with between = (MSB - MSW) / n, not below 0, and
mu ~ N(mean, MSB / (a n)). Unequal numbers use unweighted location means and are approximate.
Further units are taken from further locations.
"""

from dataclasses import dataclass

import numpy as np

from assistant.evaluation.acceptance_value import K_STAGE, L1, L2, reference
from assistant.evaluation.intervals import mean_squares
from assistant.evaluation.quantiles import Floats
from assistant.evaluation.variance import OneWay

TRIALS = 20_000
SEED = 1


@dataclass(frozen=True, slots=True)
class Prediction:
    """Predictive probability of passing the dosage-unit test, 0 to 1."""

    stage_1: float
    """Of passing with 10 units."""
    passes: float
    """Of passing with 10, or else with 30 units."""
    error: float
    """Standard error of `passes` from the number of trials."""
    trials: int
    seed: int
    approximate: bool
    """Whether the numbers of results differ."""


def from_sample(mean: float, sd: float, n: int, target: float = 100.0) -> Prediction:
    """Predict from n >= 2 results, one of each location, % of target."""
    draw = np.random.default_rng(SEED)
    sigma = sd * np.sqrt((n - 1) / draw.chisquare(n - 1, TRIALS))
    mu = mean + sigma / np.sqrt(n) * draw.standard_normal(TRIALS)
    return _predict(draw, mu, sigma, target, approximate=False)


def from_components(table: OneWay, target: float = 100.0) -> Prediction:
    """Predict from the one-way analysis of a study with replicates, % of target."""
    squares = mean_squares(table)
    layout, count = squares.layout, len(table.means)
    centre = sum(table.means) / count if squares.approximate else table.mean
    draw = np.random.default_rng(SEED)
    msb, msw = (
        df * square / draw.chisquare(df, TRIALS)
        for df, square in (
            (layout.df_between, squares.between),
            (layout.df_within, squares.within),
        )
    )
    sigma = np.sqrt(msw + np.maximum(msb - msw, 0.0) / layout.replicates)
    mu = centre + np.sqrt(msb / (count * layout.replicates)) * draw.standard_normal(TRIALS)
    return _predict(draw, mu, sigma, target, approximate=squares.approximate)


def _predict(
    draw: np.random.Generator, mu: Floats, sigma: Floats, target: float, *, approximate: bool
) -> Prediction:
    units = mu[:, None] + sigma[:, None] * draw.standard_normal((len(mu), 30))
    first = _value(units[:, :10], target) <= L1
    m = reference(units.mean(axis=1), target)
    inside = (units.min(axis=1) >= (1 - 0.01 * L2) * m) & (units.max(axis=1) <= (1 + 0.01 * L2) * m)
    passed = first | ((_value(units, target) <= L1) & inside)
    share = float(passed.mean())
    error = float(np.sqrt(share * (1.0 - share) / len(mu)))
    return Prediction(float(first.mean()), share, error, len(mu), SEED, approximate)


def _value(units: Floats, target: float) -> Floats:
    """Acceptance value of each row, unrounded."""
    mean = units.mean(axis=1)
    spread = K_STAGE[units.shape[1]] * units.std(axis=1, ddof=1)
    return np.asarray(np.abs(reference(mean, target) - mean) + spread)
