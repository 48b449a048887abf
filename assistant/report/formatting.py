"""Number formats of a report: consistent, never with more digits than are meaningful."""

from collections.abc import Sequence

MISSING = "\N{EN DASH}"
LEAST_P = 0.0001
"""Smaller p-values are written as less than this."""


def fixed(value: float | None, decimals: int = 2) -> str:
    """A number with the given decimals; a dash for None, and no minus zero."""
    if value is None:
        return MISSING
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def short(value: float | None, digits: int = 4) -> str:
    """A number with the given significant digits, without an exponent if readable."""
    if value is None:
        return MISSING
    text = f"{value:.{digits}g}"
    if "e" in text and 1e-6 <= abs(value) < 1e9:  # noqa: PLR2004 - readable without an exponent
        text = fixed(value, 0 if abs(value) >= 1 else 8)
    return "0" if text == "-0" else text


def p_value(p: float | None) -> str:
    """A p-value."""
    if p is None:
        return MISSING
    return f"< {LEAST_P:g}" if p < LEAST_P else f"{p:.4f}"


def interval(low: float | None, high: float | None, decimals: int = 2) -> str:
    """Limits of an interval, or "up to" an upper limit."""
    if low is None:
        return f"up to {fixed(high, decimals)}"
    return f"{fixed(low, decimals)} to {fixed(high, decimals)}"


def share(probability: float) -> str:
    """A probability in percent; one that is not 1 is never rounded up to it."""
    percent = 100.0 * probability
    if probability < 1.0 and percent > 99.9:  # noqa: PLR2004 - one decimal is shown
        return "> 99.9 %"
    return f"{fixed(percent, 1)} %"


def counted(number: int, one: str, many: str = "") -> str:
    """A number with its noun: "1 vial", "3 vials"."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def listed(names: Sequence[str], most: int = 12) -> str:
    """Names as a list, shortened if there are many; a dash for none."""
    if not names:
        return MISSING
    more = len(names) - most
    tail = f" and {more} more" if more > 0 else ""
    return ", ".join(names[:most]) + tail


def moment(utc: str) -> str:
    """A time from the record without fractions of a second."""
    return f"{utc[:10]} {utc[11:19]} UTC"


def spread(minimum: int, maximum: int) -> str:
    """One number, or a range of them."""
    return str(minimum) if minimum == maximum else f"{minimum} to {maximum}"


def limit(value: float) -> str:
    """A limit; a whole number gets one decimal, as it is compared."""
    return f"{value:.1f}" if value == int(value) else f"{value:.4g}"


def beside(value: float | None, bound: float) -> str:
    """A value beside its limit, with one more decimal, or more if they would look equal.

    A probability below 1 is never written as 1.
    """
    if value is None:
        return MISSING
    decimals = len(limit(bound).partition(".")[2]) + 1
    while value != bound and float(fixed(value, decimals)) == bound and decimals < _MOST_DECIMALS:
        decimals += 1
    text = fixed(value, decimals)
    return fixed(1.0 - 10.0**-decimals, decimals) if value < 1.0 <= float(text) else text


def common_decimals(values: Sequence[float], most: int = 3) -> int:
    """The fewest decimals, 1 to `most`, with which all values are written in full."""
    for decimals in range(1, most):
        if all(abs(value - round(value, decimals)) < _DUST for value in values):
            return decimals
    return most


_DUST = 1e-9
_MOST_DECIMALS = 9


def made_up_mark(what: Sequence[str]) -> str:
    """Text across a report based on made-up data; "" if none is."""
    return f"MADE-UP DATA: {' and '.join(what)}" if what else ""
