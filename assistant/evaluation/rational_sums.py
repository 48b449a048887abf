"""Exact sums of decimal results.

A laboratory reports decimals. Binary floating point only approximates them, and with a small
spread on a large mean the error matters: sums of squares lose their leading digits. A value is
therefore read as the shortest decimal that converts to its double (which is what was typed, up to
15 significant digits), and sums are taken over integers, exactly, at any size.
"""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from assistant.errors import InputError

Value = float | int | Decimal
"""Accepted types of a value; a float represents its shortest decimal."""

LARGEST = Decimal(10) ** 30
"""Beyond this magnitude a value is refused: ratios of squares must fit in a double."""
SMALLEST = Decimal(10) ** -30
"""Below this magnitude a value counts as zero, for the same reason."""


def decimal_of(value: Value) -> Decimal:
    """The decimal that was typed for `value`.

    Raises:
        InputError: the value is not finite or beyond `LARGEST`.
    """
    plain = value if isinstance(value, Decimal) else Decimal(repr(float(value)))
    if not plain.is_finite() or abs(plain) > LARGEST:
        raise InputError(f"The value {value} is not a usable number: correct it.")
    return plain if abs(plain) >= SMALLEST else Decimal(0)


def whole_numbers(values: Sequence[Value]) -> tuple[list[int], Fraction]:
    """Integers and their common unit: each value is exactly integer x unit."""
    decimals = [decimal_of(value) for value in values]
    exponent = min((int(d.as_tuple().exponent) for d in decimals), default=0)
    scale = 10 ** max(0, -exponent)
    ratios = (d.as_integer_ratio() for d in decimals)
    return [scale * top // bottom for top, bottom in ratios], Fraction(1, scale)


def mean_and_squares(values: Sequence[Value]) -> tuple[Fraction, Fraction]:
    """Mean, and sum of squared deviations from it, both exact; at least one value."""
    counts, unit = whole_numbers(values)
    total = sum(counts)
    squares = Fraction(sum(c * c for c in counts)) - Fraction(total * total, len(counts))
    return Fraction(total, len(counts)) * unit, squares * unit * unit
