"""Uniformity of dosage units: the acceptance value of USP <905> / Ph. Eur. 2.9.40 / JP 6.02.

AV = |M - mean| + k s, with k = 2.4 for 10 and 2.0 for 30 units. The reference M is the mean
itself inside 98.5 to 101.5 % (or to T, where the target T is above 101.5 %) and the nearer bound
outside. Stage 1 (10 units): AV <= L1 = 15.0. Stage 2 (30 units): AV <= L1 = 15.0 and every unit
within (1 -+ 0.01 L2) M, L2 = 25.0. L2 bounds individuals only; it is no limit of the AV at any
stage (USP's own FAQ on the chapter).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from assistant.evaluation.quantiles import Floats

L1 = 15.0
L2 = 25.0
K_STAGE = {10: 2.4, 30: 2.0}
LOW_REFERENCE = 98.5
HIGH_REFERENCE = 101.5


@dataclass(frozen=True, slots=True)
class AcceptanceValue:
    """The acceptance value of one set of units, % of label claim."""

    n: int
    mean: float
    sd: float
    k: float
    reference: float
    """M."""
    value: float
    """AV."""
    unit_low: float
    """(1 - 0.01 L2) M, the lowest individual allowed at stage 2."""
    unit_high: float


def high_reference(target: float = 100.0) -> float:
    """Upper end of the range in which M equals the mean."""
    return max(HIGH_REFERENCE, target)


def reference(mean: ArrayLike, target: float = 100.0) -> Floats:
    """M for one or many means."""
    return np.clip(np.asarray(mean, dtype=np.float64), LOW_REFERENCE, high_reference(target))


def acceptance_value(mean: float, sd: float, n: int, target: float = 100.0) -> AcceptanceValue:
    """Acceptance value of n units from their mean and standard deviation.

    Raises:
        ValueError: n is neither 10 nor 30; k is defined for these only.
    """
    if n not in K_STAGE:
        raise ValueError(f"The acceptance value is defined for 10 and 30 units, not for {n}")
    m = float(reference(mean, target))
    k = K_STAGE[n]
    value = abs(m - mean) + k * sd
    return AcceptanceValue(n, mean, sd, k, m, value, (1.0 - 0.01 * L2) * m, (1.0 + 0.01 * L2) * m)
