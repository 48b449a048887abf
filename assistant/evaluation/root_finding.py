"""Roots of many falling functions at once, by false position with the Illinois correction.

Each root has its own bracket, so that a bad step for one cannot affect another; converged roots
leave the working set.
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from assistant.evaluation.quantiles import Floats

Excess = Callable[[Floats, NDArray[np.intp]], Floats]
"""Returns function values at points, given with the indices of their roots."""

_TOLERANCE = 1e-9
_ROUNDS = 200


def falling_root(excess: Excess, low: float, high: float, count: int) -> Floats:
    """Find the points in [low, high] where `count` falling functions cross zero.

    Args:
        excess: called with points and the indices they belong to.
        low: lower end of every bracket.
        high: upper end; each function must be negative here.
        count: number of functions.

    Returns:
        The roots; 0 where a function is negative at `low` already.

    Raises:
        RuntimeError: a function is not negative at `high`, or a root is not found.
    """
    every = np.arange(count)
    a, b = np.full(count, low), np.full(count, high)
    fa, fb = excess(a, every), excess(b, every)
    if np.any(fb >= 0.0):
        raise RuntimeError("A function does not fall below zero inside the bracket")
    hopeless = fa < 0.0
    active = every[~hopeless]
    side = np.zeros(count, dtype=np.int8)
    for _ in range(_ROUNDS):
        if not active.size:
            return np.where(hopeless, 0.0, a)
        point = b[active] - fb[active] * (b[active] - a[active]) / (fb[active] - fa[active])
        value = excess(point, active)
        up = value >= 0.0
        rising, falling = active[up], active[~up]
        # Illinois: the value at an end that is kept a second time is halved.
        fb[rising] *= np.where(side[rising] == 1, 0.5, 1.0)
        fa[falling] *= np.where(side[falling] == -1, 0.5, 1.0)
        a[rising], fa[rising], side[rising] = point[up], value[up], 1
        b[falling], fb[falling], side[falling] = point[~up], value[~up], -1
        near = (np.abs(value) < _TOLERANCE) | (b[active] - a[active] < _TOLERANCE)
        a[active[near]] = point[near]
        active = active[~near]
    raise RuntimeError(f"{active.size} of {count} roots were not found in {_ROUNDS} iterations")
