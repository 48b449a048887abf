"""Words to phones: the grammar's own pronunciations, then the CMU pronouncing dictionary.

The dictionary is the one inside the package pocketsphinx; only the words asked for are kept.
"""

import itertools
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Final

from assistant.errors import DeviceError, GrammarError
from assistant.grammar.phones import PHONES, Way

MOST_WAYS: Final = 16
"""Ways to say one phrase that are scored; further combinations of its words are left out."""
HEARD_AS: Final[Mapping[str, tuple[str, ...]]] = {
    "affirm": ("AH F ER AH M", "IH F ER M", "AH F IH R M"),
    "earthed": ("ER TH EH D", "ER TH IH D"),
}
"""Further ways of words, as the network heard tuning voices unlike those it was trained on: with
them 90 of 108 "affirm" pass instead of 66; three voices say "earthed" in two syllables. They are
not in the grammar, since pocketsphinx took other phrases for "affirm" at 10 dB."""
_DICTIONARY: Final = "cmudict-en-us.dict"


@cache
def _dictionary(path: Path) -> str:
    """Return the file, which is searched as it is: as objects its words take 40 MB."""
    try:
        return f"\n{path.read_text(encoding='utf-8')}\n"
    except OSError as fault:
        raise DeviceError(
            f"The pronouncing dictionary {path} cannot be read ({fault.strerror}); "
            "reinstall the package pocketsphinx"
        ) from None


@cache
def _ways(path: Path, word: str) -> tuple[str, ...]:
    """Return a word's pronunciations as they are written, in the order of the file.

    A search takes some milliseconds, and a session asks for the same few hundred words at every
    step.
    """
    dictionary, found = _dictionary(path), list[str]()
    while True:
        key = f"\n{word}({len(found) + 1}) " if found else f"\n{word} "
        at = dictionary.find(key)
        if at < 0:
            return tuple(found)
        start = at + len(key)
        found.append(dictionary[start : dictionary.index("\n", start)])


class Pronunciations:
    """Looks up how words and phrases are said."""

    def __init__(self, folder: Path, own: Mapping[str, Sequence[str]] | None = None) -> None:
        """Read the dictionary.

        Args:
            folder: of the acoustic model that holds the dictionary beside it.
            own: word to its pronunciations in ARPAbet without stress marks; they come first.

        Raises:
            DeviceError: the dictionary is missing.
            GrammarError: a pronunciation uses a sound the model does not have.
        """
        self._shared = folder / _DICTIONARY
        _dictionary(self._shared)
        self._own = {word.lower(): tuple(ways) for word, ways in (own or {}).items()}
        for word, ways in self._own.items():
            for way in ways:
                if not way.split() or not set(PHONES).issuperset(way.split()):
                    raise GrammarError(
                        f'[pronunciations] "{word}": "{way}" is not a row of English ARPAbet '
                        'sounds without stress marks, such as "ER TH T"; correct it.'
                    )

    def word(self, word: str) -> tuple[Way, ...]:
        """Return every pronunciation of a lower-case word, the grammar's own first; () if none."""
        own, further = self._own.get(word, ()), HEARD_AS.get(word, ())
        said = dict.fromkeys((*own, *_ways(self._shared, word), *further))
        return tuple(tuple(way.split()) for way in said)

    def missing(self, words: Iterable[str]) -> list[str]:
        """Return the words that nobody says how to pronounce, in order and once each."""
        return [word for word in dict.fromkeys(words) if not self.word(word)]

    def phrase(self, phrase: str) -> tuple[tuple[Way, ...], ...]:
        """Return ways to say a phrase: each is one pronunciation for every word of it.

        Raises:
            GrammarError: a word has no pronunciation.
        """
        words = phrase.lower().split()
        missing = self.missing(words)
        if missing or not words:
            raise GrammarError(
                f'The phrase "{phrase}" cannot be pronounced: nothing says how '
                f'"{", ".join(missing)}" sounds. Add it to [pronunciations] in ARPAbet, such as '
                'earthed = ["ER TH T"], or use another word.'
            )
        ways = itertools.product(*map(self.word, words))
        return tuple(itertools.islice(ways, MOST_WAYS))
