"""One-way random-effects analysis of variance: is the spread between locations or within them?

Location is the random factor. Balanced and unbalanced designs; the moment (ANOVA) estimates use n0
= [N - sum(n_i^2)/N]/(a - 1) (ISO Guide 35:2017, formula (3)), which is n when balanced. Sums of
squares are exact rational numbers (see `rational_sums`) and are rounded once, at the end; a
negative estimate of the between-location variance is kept as `between_raw` and reported as zero.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from assistant.errors import InputError
from assistant.evaluation.quantiles import f_upper_tail
from assistant.evaluation.rational_sums import Value, whole_numbers


@dataclass(frozen=True, slots=True)
class OneWay:
    """The analysis-of-variance table of a groups; sums of squares are in the squared unit."""

    sizes: tuple[int, ...]
    means: tuple[float, ...]
    mean: float
    """Grand mean, each individual with equal weight."""
    ss_between: float
    ss_within: float
    df_between: int
    df_within: int
    ms_between: float
    ms_within: float
    f: float | None
    """ms_between / ms_within; None if the within mean square is zero."""
    p: float | None
    """Probability of a larger F without any location effect; None if F is None."""
    r_squared: float | None
    """Share of the total sum of squares between groups; None if all values are equal."""
    n0: float
    """Effective number of replicates per group."""

    @property
    def total_n(self) -> int:
        """Number of individuals."""
        return sum(self.sizes)

    @property
    def balanced(self) -> bool:
        """Whether every group has the same number of replicates."""
        return len(set(self.sizes)) == 1

    @property
    def within(self) -> float:
        """Within-group variance."""
        return self.ms_within

    @property
    def residual_sd(self) -> float:
        """Within-group standard deviation."""
        return math.sqrt(self.ms_within)

    @property
    def between_raw(self) -> float:
        """Moment estimate of the between-group variance; may be negative."""
        return (self.ms_between - self.ms_within) / self.n0

    @property
    def between(self) -> float:
        """Between-group variance, truncated at zero."""
        return max(0.0, self.between_raw)

    @property
    def total(self) -> float:
        """Sum of both components."""
        return self.between + self.within

    @property
    def icc(self) -> float | None:
        """Share of the between-group variance in the total; None if there is no variance."""
        return self.between / self.total if self.total > 0 else None


def one_way(groups: Sequence[Sequence[Value]]) -> OneWay:
    """Analysis of variance of two or more groups, at least one with replicates.

    Args:
        groups: a sequences of n_i values each, all in one unit.

    Raises:
        InputError: fewer than two groups, an empty group, or no replicates at all.
    """
    sizes = tuple(len(group) for group in groups)
    _check_design(sizes)
    flat, unit = whole_numbers([value for group in groups for value in group])
    n, a = len(flat), len(sizes)
    totals, squares_of_totals, start = [], Fraction(0), 0
    for size in sizes:
        totals.append(sum(flat[start : start + size]))
        squares_of_totals += Fraction(totals[-1] ** 2, size)
        start += size
    grand = sum(totals)
    between = (squares_of_totals - Fraction(grand * grand, n)) * unit * unit
    within = (sum(c * c for c in flat) - squares_of_totals) * unit * unit
    f = float((between / (a - 1)) / (within / (n - a))) if within else None
    return OneWay(
        sizes=sizes,
        means=tuple(float(Fraction(t, s) * unit) for t, s in zip(totals, sizes, strict=True)),
        mean=float(Fraction(grand, n) * unit),
        ss_between=float(between),
        ss_within=float(within),
        df_between=a - 1,
        df_within=n - a,
        ms_between=float(between / (a - 1)),
        ms_within=float(within / (n - a)),
        f=f,
        p=None if f is None else float(f_upper_tail(f, a - 1, n - a)),
        r_squared=float(between / (between + within)) if between + within else None,
        n0=float((n - Fraction(sum(s * s for s in sizes), n)) / (a - 1)),
    )


def _check_design(sizes: Sequence[int]) -> None:
    """Refuse designs in which the two components cannot be separated."""
    if len(sizes) < 2:  # noqa: PLR2004 - two is the smallest number that can differ
        raise InputError(
            "One location only: the variation between locations cannot be estimated; "
            "two or more locations are needed."
        )
    if min(sizes) == 0:
        raise InputError("A location has no result: leave it out or add its assays.")
    if max(sizes) == 1:
        raise InputError(
            "One result per location: variation between and within locations cannot be "
            "separated; assay the replicates."
        )
