"""Distribution functions for the formulas, with the argument order of textbooks.

Thin wrappers of `scipy.special`, taking lower-tail probability and degrees of freedom like the
tables of a statistics book. All accept and return arrays.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]


def _floats(value: Any) -> Floats:  # noqa: ANN401 - scipy gives no types
    return np.asarray(value, dtype=np.float64)


def chi2_quantile(p: ArrayLike, df: ArrayLike) -> Floats:
    """Chi-squared quantile at lower-tail probability `p`, with `df` degrees of freedom."""
    return _floats(2.0 * special.gammaincinv(np.asarray(df) / 2.0, p))


def f_quantile(p: ArrayLike, df1: ArrayLike, df2: ArrayLike) -> Floats:
    """F quantile at lower-tail probability `p`."""
    return _floats(special.fdtri(df1, df2, p))


def f_upper_tail(f: ArrayLike, df1: ArrayLike, df2: ArrayLike) -> Floats:
    """Probability of a larger F."""
    return _floats(special.fdtrc(df1, df2, f))


def beta_quantile(p: ArrayLike, a: ArrayLike, b: ArrayLike) -> Floats:
    """Quantile of the beta distribution with shapes `a` and `b`."""
    return _floats(special.betaincinv(a, b, p))


def t_quantile(p: ArrayLike, df: ArrayLike) -> Floats:
    """Quantile of Student's t at lower-tail probability `p`."""
    return _floats(special.stdtrit(df, p))


def t_two_sided(t: ArrayLike, df: ArrayLike) -> Floats:
    """Two-sided tail probability of t."""
    return _floats(2.0 * special.stdtr(df, -np.abs(t)))


def normal_quantile(p: ArrayLike) -> Floats:
    """Standard normal quantile at lower-tail probability `p`."""
    return _floats(special.ndtri(p))


def normal_cdf(x: ArrayLike) -> Floats:
    """Probability of a standard normal value of at most `x`."""
    return _floats(special.ndtr(x))
