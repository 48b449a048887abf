"""Restricted (and full) maximum likelihood for the one-way random-effects model.

With the likelihood in closed form in the group means, no mixed-model library is needed. With w_i =
n_i/(se2 + n_i sb2) and mu = sum(w m)/sum(w),

    -2 l_R = (N - a) ln se2 + sum ln(se2 + n_i sb2) + SSW/se2 + sum w_i (m_i - mu)^2
             + ln sum w_i + (N - 1) ln 2 pi

(full likelihood: without ln sum w_i, with N ln 2 pi). For a given ratio q = sb2/se2 the best se2
is explicit, so one number is searched: a grid over q/(1 + q) brackets the minimum
of the criterion, and the root of its derivative locates it. At q = 0 the boundary estimate is
returned.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize

from assistant.errors import InputError
from assistant.evaluation.quantiles import Floats
from assistant.evaluation.variance import OneWay

_GRID = 400
_SHARE_LIMIT = 1.0 - 1e-9


@dataclass(frozen=True, slots=True)
class Likelihood:
    """Estimates by maximum likelihood; variances are in the squared unit."""

    restricted: bool
    between: float
    within: float
    mean: float
    """Weighted mean over the groups."""
    criterion: float
    """-2 x the (restricted) log-likelihood at the estimates."""
    effects: tuple[float, ...]
    """Predicted (shrunken) deviation of each group from the mean."""


@dataclass(frozen=True, slots=True)
class _Model:
    sizes: Floats
    means: Floats
    ss_within: float
    restricted: bool

    @property
    def freedom(self) -> float:
        return float(self.sizes.sum()) - (1.0 if self.restricted else 0.0)

    def weights(self, ratio: ArrayLike) -> Floats:
        """(..., a) relative weights for ratios of any shape."""
        return np.asarray(self.sizes / (1.0 + self.sizes * np.asarray(ratio)[..., None]))

    def mean(self, ratio: ArrayLike) -> Floats:
        weights = self.weights(ratio)
        return np.asarray((weights * self.means).sum(axis=-1) / weights.sum(axis=-1))

    def spread(self, ratio: ArrayLike) -> Floats:
        return np.asarray((self.means - self.mean(ratio)[..., None]) ** 2)

    def squares(self, ratio: ArrayLike) -> Floats:
        weighted = (self.weights(ratio) * self.spread(ratio)).sum(axis=-1)
        return np.asarray(self.ss_within + weighted)

    def criterion(self, ratio: ArrayLike) -> Floats:
        residual = self.squares(ratio) / self.freedom
        value = self.freedom * (np.log(2.0 * np.pi * residual) + 1.0)
        value += np.log1p(self.sizes * np.asarray(ratio)[..., None]).sum(axis=-1)
        if self.restricted:
            value += np.log(self.weights(ratio).sum(axis=-1))
        return np.asarray(value)

    def slope(self, ratio: float) -> float:
        weights = self.weights(ratio)
        pull = float((weights**2 * self.spread(ratio)).sum()) / float(self.squares(ratio))
        value = float(weights.sum()) - self.freedom * pull
        if self.restricted:
            value -= float((weights**2).sum() / weights.sum())
        return value


def fit(table: OneWay, *, restricted: bool = True) -> Likelihood:
    """Likelihood estimates from an analysis-of-variance table.

    Raises:
        InputError: the replicates agree exactly, so the likelihood has no maximum.
    """
    if table.ss_within <= 0.0:
        raise InputError(
            "All replicates agree exactly, so the likelihood has no maximum: check whether the "
            "replicates were copied or rounded away."
        )
    model = _Model(
        sizes=np.asarray(table.sizes, dtype=np.float64),
        # Only deviations from the mean matter; subtracting it here preserves precision.
        means=np.asarray([m - table.mean for m in table.means], dtype=np.float64),
        ss_within=table.ss_within,
        restricted=restricted,
    )
    ratio = _best_ratio(model)
    within = float(model.squares(ratio)) / model.freedom
    centre = float(model.mean(ratio))
    effects = ratio * model.weights(ratio) * (model.means - centre)
    return Likelihood(
        restricted=restricted,
        between=ratio * within,
        within=within,
        mean=table.mean + centre,
        criterion=float(model.criterion(ratio)),
        effects=tuple(float(e) for e in effects),
    )


def _best_ratio(model: _Model) -> float:
    """Variance ratio q >= 0 that minimises the criterion."""
    shares = np.linspace(0.0, _SHARE_LIMIT, _GRID)
    ratios = shares / (1.0 - shares)
    best = int(np.argmin(model.criterion(ratios)))
    low = float(ratios[max(best - 1, 0)])
    high = float(ratios[min(best + 1, _GRID - 1)])
    if model.slope(low) >= 0.0:
        return low
    while model.slope(high) <= 0.0:
        high *= 2.0
    root = optimize.brentq(model.slope, low, high, xtol=1e-15, rtol=8.9e-16, maxiter=500)
    return float(root)
