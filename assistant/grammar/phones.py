"""How far apart two phrases sound: the weighted edit distance of their sounds.

Sounds are those of the CMU pronouncing dictionary (ARPAbet without stress marks).
"""

from collections.abc import Sequence

_CLASSES = (
    ("AA", "AE", "AH", "AO", "AW", "AY", "EH", "ER", "EY", "IH", "IY", "OW", "OY", "UH", "UW"),
    ("B", "D", "G", "K", "P", "T"),
    ("CH", "JH", "S", "SH", "Z", "ZH"),
    ("DH", "F", "HH", "TH", "V"),
    ("M", "N", "NG"),
    ("L", "R", "W", "Y"),
)
_CLASS_OF = {sound: number for number, sounds in enumerate(_CLASSES) for sound in sounds}
_ALIKE = 0.5
"""Cost of hearing one sound for another of its class; every other slip costs 1."""

Way = tuple[str, ...]
"""One way to say something: its sounds in order."""


def closeness(first: Sequence[Way], second: Sequence[Way]) -> float:
    """Return the distance of the two ways that are hardest to tell apart.

    Args:
        first: every way to say the one phrase, at least one.
        second: every way to say the other.

    Returns:
        edits over the number of sounds of the longer way: 0 for the same sounds, at most 1.
    """
    return min(_distance(one, other) for one in first for other in second)


def _distance(one: Way, other: Way) -> float:
    row = [float(column) for column in range(len(other) + 1)]
    for sound in one:
        diagonal, row[0] = row[0], row[0] + 1.0
        for column, heard in enumerate(other, start=1):
            changed = diagonal + _slip(sound, heard)
            diagonal = row[column]
            row[column] = min(changed, row[column] + 1.0, row[column - 1] + 1.0)
    return row[-1] / max(len(one), len(other))


def _slip(sound: str, heard: str) -> float:
    if sound == heard:
        return 0.0
    return _ALIKE if _CLASS_OF.get(sound, -1) == _CLASS_OF.get(heard, -2) else 1.0
