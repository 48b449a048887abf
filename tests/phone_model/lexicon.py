"""Words, their phones and how common they are: read from the dictionary of the plain engine."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

# fmt: off
PHONES: Final = [
    "AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G", "HH",
    "IH", "IY", "JH", "K", "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH", "UH",
    "UW", "V", "W", "Y", "Z", "ZH",
]
# fmt: on
"""The 39 phones of ARPAbet in alphabetical order; the network's output 0 is blank, 1 is "AA"."""

OWN_WORDS: Final = {"earthed": "ER TH T"}
"""Words of the grammar that the dictionary lacks."""

# fmt: off
_SHORT: Final = frozenset([
    "a", "i", "is", "it", "of", "to", "in", "on", "we", "he", "me", "my", "no",
    "go", "up", "at", "so", "by", "or", "us", "do", "be", "an", "as", "if", "am",
])
# fmt: on
_WORD: Final = re.compile(r"[a-z']+")


def folder() -> Path:
    """Return the folder of the plain engine's English models."""
    import pocketsphinx  # noqa: PLC0415 - only where texts are made

    return Path(pocketsphinx.__file__).parent / "model" / "en-us"


@cache
def pronunciations() -> dict[str, tuple[str, ...]]:
    """Return the first pronunciation of every word of the dictionary."""
    found = {word: tuple(said.split()) for word, said in OWN_WORDS.items()}
    for line in (folder() / "cmudict-en-us.dict").read_text().splitlines():
        word, *phones = line.split()
        if "(" not in word:
            found.setdefault(word, tuple(phones))
    return found


def numbers(text: str) -> list[int]:
    """Return a text's phones as the network numbers them (1 to 39)."""
    said = pronunciations()
    return [PHONES.index(phone) + 1 for word in text.split() for phone in said[word]]


def distance(one: Sequence[object], other: Sequence[object]) -> int:
    """Return how many phones must be put in, taken out or changed to make one the other."""
    row = list(range(len(other) + 1))
    for i, mine in enumerate(one, 1):
        corner, row[0] = row[0], i
        for j, theirs in enumerate(other, 1):
            corner, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, corner + (mine != theirs))
    return row[-1]


@dataclass(frozen=True, slots=True)
class Common:
    """The commonest words, with the model that says which follows which."""

    words: tuple[str, ...]
    """From the commonest down."""
    weights: tuple[float, ...]
    """Natural logarithm of each word's probability."""

    @staticmethod
    def read(count: int) -> "Common":
        """Return the `count` commonest words that the dictionary pronounces."""
        model = _language()
        said = [
            word
            for word in pronunciations()
            if _WORD.fullmatch(word) and (len(word) > 2 or word in _SHORT)
        ]
        ranked = sorted(((_natural(model.prob([word])), word) for word in said), reverse=True)
        ranked = ranked[:count]
        return Common(tuple(word for _, word in ranked), tuple(weight for weight, _ in ranked))


@cache
def _language():  # type: ignore[no-untyped-def]  # noqa: ANN202 - the package ships no types
    from pocketsphinx import NGramModel  # noqa: PLC0415 - only where texts are made

    return NGramModel.readfile(str(folder() / "en-us.lm.bin"))


def follows(before: str, word: str) -> float:
    """Return the language model's log probability of a word after another."""
    return _natural(_language().prob([word, before]))


def _natural(steps: int) -> float:
    """Turn the engine's logarithm, to the base 1.0001, into a natural one."""
    return steps * 9.9995e-5
