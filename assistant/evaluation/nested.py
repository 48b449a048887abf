"""Nested analysis of variance: location, then position or port within it, then residual.

For levels 1..k, each nested in the one above, the sum of squares of a level is that of its node
means about the means of their parents. The expected mean square of level j contains the
component of level l >= j with the coefficient

    sum over nodes u of level l of n_u^2 (1/n_parent_j(u) - 1/n_parent_(j-1)(u)) / df_j

(the usual moment method for unbalanced nested designs), which is the textbook's integer
if the design is balanced. Components are solved from the bottom up; negative ones are kept as
`raw` and reported as zero.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from assistant.errors import InputError
from assistant.evaluation.intervals import Interval, Layout, chi2_limits, mls_limits
from assistant.evaluation.quantiles import f_upper_tail
from assistant.evaluation.rational_sums import Value, whole_numbers
from assistant.evaluation.results import Result, assays

RESIDUAL = "residual"
FACTORS = ("location", "position", "port")
"""Factors by which results can be nested."""

Node = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Level:
    """One line of the nested table; sums of squares are in the squared unit."""

    name: str
    nodes: int
    df: int
    ss: float
    ms: float
    coefficients: tuple[float, ...]
    """Coefficients in E[MS] of the components of this level and each level below."""
    raw: float
    """Moment estimate of the component; may be negative."""
    f: float | None
    """Ratio to the mean square below; None on the last line or above a zero."""
    p: float | None
    interval: Interval | None
    """Interval of the component; only for a balanced design."""

    @property
    def variance(self) -> float:
        """The component, truncated at zero."""
        return max(0.0, self.raw)


@dataclass(frozen=True, slots=True)
class Nested:
    """A nested analysis, from the widest level to the residual."""

    levels: tuple[Level, ...]
    balanced: bool
    """Whether each level is balanced; otherwise the F tests are approximate."""


@dataclass(frozen=True, slots=True)
class _Solved:
    """The analysis in exact numbers, one list entry per line of the table."""

    df: list[int]
    ms: list[Fraction]
    matrix: list[list[Fraction]]
    components: list[Fraction]
    balanced: bool


def nested_results(results: Sequence[Result], order: Sequence[str] = FACTORS) -> Nested | None:
    """Nested analysis of a study along `order`, skipping levels that the design lacks.

    Returns:
        The analysis, or None if fewer than two levels above the residual can be separated.
    """
    keys: list[Node] = [() for _ in results]
    names: list[str] = []
    for factor in order:
        deeper = [
            (*key, getattr(result, factor)) for key, result in zip(keys, results, strict=True)
        ]
        if len(set(keys)) < len(set(deeper)) < len(results):
            names.append(factor)
            keys = deeper
    if len(names) < 2:  # noqa: PLR2004 - with one level the one-way analysis is enough
        return None
    return nested(assays(results), keys, tuple(names))


def nested(values: Sequence[Value], keys: Sequence[Node], names: Sequence[str]) -> Nested:
    """Nested analysis of values, each given with the path to its node.

    Args:
        values: N values in one unit.
        keys: N paths, each of the length of `names`.
        names: names of the levels, widest first.

    Raises:
        InputError: a level has no degrees of freedom.
    """
    counts, unit = whole_numbers(values)
    sizes, totals = _tally(counts, keys, len(names))
    depth = len(names)
    nodes = [len(level) for level in sizes]
    df = [nodes[j] - nodes[j - 1] for j in range(1, depth + 2)]
    if min(df) < 1:
        raise InputError(
            f"Level {(*names, RESIDUAL)[df.index(min(df))]} has no replicates to estimate it "
            "from: leave that level out."
        )
    squares = [
        sum((Fraction(t * t, s) for s, t in zip(size.values(), total.values(), strict=True)))
        for size, total in zip(sizes, totals, strict=True)
    ]
    ms = [(squares[j] - squares[j - 1]) * unit * unit / df[j - 1] for j in range(1, depth + 2)]
    matrix = _coefficients(sizes, df)
    balanced = all(len(set(_children(level))) == 1 for level in sizes[1:])
    solved = _Solved(df, ms, matrix, _solve(ms, matrix), balanced)
    levels = tuple(
        _level(j, name, nodes[j + 1], solved) for j, name in enumerate((*names, RESIDUAL))
    )
    return Nested(levels, balanced)


def _tally(
    counts: Sequence[int], keys: Sequence[Node], depth: int
) -> tuple[list[dict[Node, int]], list[dict[Node, int]]]:
    """Count and total of the values at each node of each level, from all to single values."""
    sizes: list[dict[Node, int]] = [{} for _ in range(depth + 2)]
    totals: list[dict[Node, int]] = [{} for _ in range(depth + 2)]
    for index, (count, key) in enumerate(zip(counts, keys, strict=True)):
        path = (*key, index)
        for j in range(depth + 2):
            node = path[:j]
            sizes[j][node] = sizes[j].get(node, 0) + 1
            totals[j][node] = totals[j].get(node, 0) + count
    return sizes, totals


def _children(level: dict[Node, int]) -> list[int]:
    """Number of nodes of the level under each parent."""
    numbers: dict[Node, int] = {}
    for node in level:
        numbers[node[:-1]] = numbers.get(node[:-1], 0) + 1
    return list(numbers.values())


def _coefficients(sizes: list[dict[Node, int]], df: list[int]) -> list[list[Fraction]]:
    """Upper-triangular matrix of the expected mean squares."""
    depth = len(df)
    matrix = [[Fraction(0)] * depth for _ in range(depth)]
    for j in range(depth):
        for l in range(j, depth):  # noqa: E741 - the index of the module's formula
            total = sum(
                Fraction(n * n, sizes[j + 1][node[: j + 1]]) - Fraction(n * n, sizes[j][node[:j]])
                for node, n in sizes[l + 1].items()
            )
            matrix[j][l] = Fraction(total) / df[j]
    return matrix


def _solve(ms: Sequence[Fraction], matrix: list[list[Fraction]]) -> list[Fraction]:
    """Solve the components from the mean squares, bottom up."""
    components = [Fraction(0)] * len(ms)
    for j in reversed(range(len(ms))):
        known = sum(matrix[j][k] * components[k] for k in range(j + 1, len(ms)))
        components[j] = (ms[j] - known) / matrix[j][j]
    return components


def _level(j: int, name: str, nodes: int, solved: _Solved) -> Level:
    """Line j of the table."""
    ms, df = solved.ms, solved.df
    f = float(ms[j] / ms[j + 1]) if j + 1 < len(ms) and ms[j + 1] else None
    return Level(
        name=name,
        nodes=nodes,
        df=df[j],
        ss=float(ms[j] * df[j]),
        ms=float(ms[j]),
        coefficients=tuple(float(c) for c in solved.matrix[j][j:]),
        raw=float(solved.components[j]),
        f=f,
        p=None if f is None else float(f_upper_tail(f, df[j], df[j + 1])),
        interval=_interval(j, solved) if solved.balanced else None,
    )


def _interval(j: int, solved: _Solved, confidence: float = 0.95) -> Interval:
    """Exact for the residual, modified large-sample for the levels above."""
    ms, df = solved.ms, solved.df
    if j == len(ms) - 1:
        low, high = chi2_limits(float(ms[j]), df[j], confidence)
        return Interval(float(low), float(high), confidence, "exact, chi-squared")
    layout = Layout(df[j], df[j + 1], float(solved.matrix[j][j]))
    low, high = mls_limits(float(ms[j]), float(ms[j + 1]), layout, confidence)
    return Interval(float(low), float(high), confidence, "modified large-sample")
