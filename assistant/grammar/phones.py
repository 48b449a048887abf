"""Phones, and how far apart two strings of them sound: a weighted edit distance.

The 39 phones are those of the CMU pronouncing dictionary, written in ARPAbet without stress.
"""

from collections.abc import Sequence
from typing import Final

_CLASSES: Final = (
    ("AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"),
    ("B", "D", "G", "K", "P", "T"),
    ("CH", "JH", "S", "SH", "Z", "ZH"),
    ("DH", "F", "HH", "TH", "V"),
    ("M", "N", "NG"),
    ("L", "R", "W", "Y"),
)
PHONES: Final = tuple(sorted(phone for group in _CLASSES for phone in group))
"""All phones, in alphabetical order."""

_CLASS_OF: Final = {phone: number for number, group in enumerate(_CLASSES) for phone in group}
_ALIKE: Final = 0.5
"""Cost of hearing one phone for another of its class; every other slip costs 1."""

Way = tuple[str, ...]
"""One way to say something: its phones in order."""


def closeness(first: Sequence[Way], second: Sequence[Way]) -> float:
    """Return the distance of the two ways that are hardest to tell apart.

    Args:
        first: every way to say the one phrase, at least one.
        second: every way to say the other.

    Returns:
        as for `distance`.
    """
    return min(distance(one, other) for one in first for other in second)


def substitution(first: str, second: str) -> float:
    """Return the cost of hearing one phone as the other, 0 to 1."""
    if first == second:
        return 0.0
    return _ALIKE if _CLASS_OF.get(first, -1) == _CLASS_OF.get(second, -2) else 1.0


def distance(first: Sequence[str], second: Sequence[str]) -> float:
    """Return the weighted edit distance of two phone strings over the longer one's length.

    Returns:
        0 when they are the same, 1 when nothing agrees; 0 for two empty strings.
    """
    longest = max(len(first), len(second))
    if longest == 0:
        return 0.0
    row = [float(column) for column in range(len(second) + 1)]
    for one in first:
        diagonal, row[0] = row[0], row[0] + 1.0
        for column, other in enumerate(second, start=1):
            changed = diagonal + substitution(one, other)
            diagonal = row[column]
            row[column] = min(changed, row[column] + 1.0, row[column - 1] + 1.0)
    return row[-1] / longest
