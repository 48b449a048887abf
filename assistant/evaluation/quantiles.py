"""The distribution functions that the formulas need, with the textbook's argument order.

Thin names over `scipy.special`: the tables of a statistics book are given by lower-tail
probability and degrees of freedom, and so are these. All accept and return arrays.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

Floats = NDArray[np.float64]


def _floats(value: Any) -> Floats:  # noqa: ANN401 - scipy gives no types
    return np.asarray(value, dtype=np.float64)


def chi2_quantile(p: ArrayLike, df: ArrayLike) -> Floats:
    """Chi-squared value below which lies the probability `p`, at `df` degrees of freedom."""
    return _floats(2.0 * special.gammaincinv(np.asarray(df) / 2.0, p))


def f_quantile(p: ArrayLike, df1: ArrayLike, df2: ArrayLike) -> Floats:
    """F value below which lies the probability `p`."""
    return _floats(special.fdtri(df1, df2, p))


def f_upper_tail(f: ArrayLike, df1: ArrayLike, df2: ArrayLike) -> Floats:
    """Probability of a larger F."""
    return _floats(special.fdtrc(df1, df2, f))


def beta_quantile(p: ArrayLike, a: ArrayLike, b: ArrayLike) -> Floats:
    """Value of the beta distribution with shapes `a` and `b` below which lies the probability."""
    return _floats(special.betaincinv(a, b, p))


def t_quantile(p: ArrayLike, df: ArrayLike) -> Floats:
    """Student's t below which lies the probability `p`."""
    return _floats(special.stdtrit(df, p))


def t_two_sided(t: ArrayLike, df: ArrayLike) -> Floats:
    """Probability of a t at least as far from zero."""
    return _floats(2.0 * special.stdtr(df, -np.abs(t)))


def normal_quantile(p: ArrayLike) -> Floats:
    """Standard normal value below which lies the probability `p`."""
    return _floats(special.ndtri(p))


def normal_cdf(x: ArrayLike) -> Floats:
    """Probability of a standard normal value of at most `x`."""
    return _floats(special.ndtr(x))
