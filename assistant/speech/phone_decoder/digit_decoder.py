"""Spoken numbers: the likeliest row of digits of bounded length, and the one that comes second.

A network of words (digits, perhaps a decimal sign and more digits, the unit) is searched by
Viterbi over the same phone probabilities; then the best row is weighed by the forward sum against
every row that differs from it in one word, so that the runner-up says what to ask again.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from assistant.grammar.phones import Way
from assistant.speech.phone_decoder.phrase_scores import Floats, Numbers, labels, ratios

MOST_WHOLE: Final = 5
MOST_DECIMALS: Final = 2
_SIGN: Final = "."


@dataclass(frozen=True, slots=True)
class _Arc:
    """One word, by one way of saying it, from one place in the number to the next."""

    source: int
    target: int
    word: str
    symbols: tuple[int, ...]
    """Blank, phone, blank, phone, ... and a phone at the end."""


@dataclass(frozen=True, slots=True)
class DigitWords:
    """The words of numbers with their ways."""

    values: Mapping[str, str]
    """Each word's digit, "." for the decimal sign."""
    spoken: Mapping[str, tuple[Way, ...]]
    """Each word's ways, those of the unit too."""
    unit: tuple[str, ...]
    """The words behind the number, in order."""

    @property
    def digits(self) -> tuple[str, ...]:
        """The words of digits."""
        return tuple(word for word, value in self.values.items() if value != _SIGN)

    @property
    def signs(self) -> tuple[str, ...]:
        """The words of the decimal sign."""
        return tuple(word for word, value in self.values.items() if value == _SIGN)

    def others(self, word: str) -> list[str]:
        """Return a word for every other value, the first of each."""
        first: dict[str, str] = {}
        for each, value in self.values.items():
            first.setdefault(value, each)
        return [each for value, each in first.items() if value != self.values.get(word)]

    def ways(self, words: Sequence[str]) -> tuple[tuple[Way, ...], ...]:
        """Return the ways to say a number: by the first way of each word, and by each other one.

        Not every combination: one word at a time is said otherwise.
        """
        known = self.spoken
        plain = tuple(known[word][0] for word in words)
        others = [
            (*plain[:place], way, *plain[place + 1 :])
            for place, word in enumerate(words)
            for way in known[word][1:]
        ]
        return (plain, *others)


class DigitDecoder:
    """Finds the number in a stretch of sound."""

    def __init__(self, words: DigitWords) -> None:
        """Lay out the network.

        Raises:
            ValueError: there is no digit or no unit.
        """
        if not words.values or not words.unit:
            raise ValueError("a number needs digits and a unit")
        self.words = words
        arcs = list(_arcs(words))
        self._arcs = arcs
        self._last_node = max(arc.target for arc in arcs)
        longest = max(len(arc.symbols) for arc in arcs)
        padded = [(*arc.symbols, *([0] * (longest - len(arc.symbols)))) for arc in arcs]
        self._symbols: Numbers = np.array(padded, dtype=np.intp)
        self._ends: Numbers = np.array([len(arc.symbols) - 1 for arc in arcs])
        self._skips = np.full(self._symbols.shape, -np.inf)
        odd = np.arange(3, longest, 2)
        different = self._symbols[:, odd] != self._symbols[:, odd - 2]
        self._skips[:, odd] = np.where(different, 0.0, -np.inf)
        self._feeders, self._barred = self._lay_feeders()
        first, last = self._symbols[:, 1], self._symbols[np.arange(len(arcs)), self._ends]
        self._repeats = np.where(last[self._feeders] == first[:, None], -np.inf, 0.0)

    def _lay_feeders(self) -> tuple[Numbers, Floats]:
        """Return for each arc those that lead to it, and what bars the places left over."""
        rows = [
            [n for n, other in enumerate(self._arcs) if other.target == arc.source]
            for arc in self._arcs
        ]
        shape = len(rows), max(map(len, rows))
        feeders = np.zeros(shape, dtype=np.intp)
        barred = np.full(shape, -np.inf)
        for number, row in enumerate(rows):
            feeders[number, : len(row)] = row
            barred[number, : len(row)] = 0.0
        return feeders, barred

    def best(self, posteriors: Floats) -> tuple[str, ...]:
        """Return the words of the likeliest number with its unit, () where none fits the sound."""
        if not len(posteriors):
            return ()
        logs = np.log(ratios(posteriors))
        filler = np.concatenate([[0.0], np.cumsum(logs[:, -1])])
        scores, origin = self._search(logs, filler)
        final = [n for n, arc in enumerate(self._arcs) if arc.target == self._last_node]
        totals = scores[:, final] + (filler[-1] - filler[1:])[:, None]
        frame, place = np.unravel_index(int(totals.argmax()), totals.shape)
        if not np.isfinite(totals[frame, place]):
            return ()
        words: list[str] = []
        token = int(frame) * len(self._arcs) + final[int(place)]
        while token >= 0:
            when, number = divmod(token, len(self._arcs))
            words.append(self._arcs[number].word)
            token = int(origin[when, number])
        return tuple(reversed(words))

    def _search(self, logs: Floats, filler: Floats) -> tuple[Floats, Numbers]:
        """Return each word's score at each frame where it ends, and the word end before it."""
        count = len(self._arcs)
        rows = np.arange(count)
        begins = np.array([arc.source == 0 for arc in self._arcs])
        reached = np.full(self._symbols.shape, -np.inf)
        carried = np.full(self._symbols.shape, -1, dtype=np.intp)
        ended = np.full(count, -np.inf)
        scores = np.empty((len(logs), count))
        origin = np.empty((len(logs), count), dtype=np.intp)
        for frame, row in enumerate(logs):
            entry, entry_token = self._entries(ended, begins, filler[frame], frame)
            before = np.concatenate([entry[0][:, None], reached[:, :-1]], axis=1)
            skipped = np.concatenate([np.full((count, 2), -np.inf), reached[:, :-2]], axis=1)
            skipped = skipped + self._skips
            skipped[:, 1] = entry[1]
            choices = np.stack([reached, before, skipped])
            tokens = np.stack(
                [
                    carried,
                    np.concatenate([entry_token[0][:, None], carried[:, :-1]], axis=1),
                    np.concatenate([carried[:, :1], entry_token[1][:, None], carried[:, :-2]], 1),
                ]
            )
            taken = choices.argmax(axis=0)[None]
            reached = np.take_along_axis(choices, taken, 0)[0] + row[self._symbols]
            carried = np.take_along_axis(tokens, taken, 0)[0]
            ended = reached[rows, self._ends]
            scores[frame], origin[frame] = ended, carried[rows, self._ends]
        return scores, origin

    def _entries(
        self, ended: Floats, begins: Numbers, opening: float, frame: int
    ) -> tuple[tuple[Floats, Floats], tuple[Numbers, Numbers]]:
        """Return scores and tokens for entering each word at its blank, and at its first phone."""
        count = len(self._arcs)
        rows = np.arange(count)
        offered = ended[self._feeders] + self._barred
        found = []
        for limited in (offered, offered + self._repeats):
            best = limited.argmax(axis=1)
            score = np.where(begins, opening, limited[rows, best])
            token = np.where(begins, -1, (frame - 1) * count + self._feeders[rows, best])
            found.append((score, token))
        (at_blank, one), (at_phone, other) = found
        return (at_blank, at_phone), (one, other)

    def variants(self, words: Sequence[str]) -> dict[str, tuple[tuple[Way, ...], ...]]:
        """Return a number and every number that differs from it in one word, with their ways."""
        unit = self.words.unit
        said = tuple(words[: len(words) - len(unit)])
        rows = [said, *_edits(said, self.words)]
        legal = [row for row in rows if _is_number(row, self.words)]
        return {" ".join((*row, *unit)): self.words.ways((*row, *unit)) for row in legal}


def _edits(said: tuple[str, ...], words: DigitWords) -> Iterator[tuple[str, ...]]:
    """Yield every row that has one word more, less or different."""
    for place, word in enumerate(said):
        yield said[:place] + said[place + 1 :]
        yield from ((*said[:place], new, *said[place + 1 :]) for new in words.others(word))
    for place in range(len(said) + 1):
        yield from ((*said[:place], new, *said[place:]) for new in words.others(""))


def _is_number(row: Sequence[str], words: DigitWords) -> bool:
    """Whether a row of words keeps to the bounds."""
    places = [place for place, word in enumerate(row) if word in words.signs]
    whole = places[0] if places else len(row)
    decimals = len(row) - whole - 1 if places else 0
    if len(places) > 1 or not 1 <= whole <= MOST_WHOLE:
        return False
    return not places or 1 <= decimals <= MOST_DECIMALS


def _arcs(words: DigitWords) -> Iterator[_Arc]:
    """Yield the arcs: whole digits, the sign, decimals, the unit."""
    sign_at = MOST_WHOLE + 1
    unit_at = sign_at + MOST_DECIMALS + 1
    for place in range(MOST_WHOLE):
        yield from _words(words, words.digits, place, place + 1)
        yield from _words(words, words.signs, place + 1, sign_at)
    for place in range(MOST_DECIMALS):
        yield from _words(words, words.digits, sign_at + place, sign_at + place + 1)
    ends = [*range(1, MOST_WHOLE + 1), *range(sign_at + 1, unit_at)]
    for source in ends:
        yield from _words(words, words.unit[:1], source, unit_at)
    for number, word in enumerate(words.unit[1:]):
        yield from _words(words, (word,), unit_at + number, unit_at + number + 1)


def _words(words: DigitWords, some: Sequence[str], source: int, target: int) -> Iterator[_Arc]:
    for word in some:
        for way in words.spoken[word]:
            spaced = tuple(symbol for number in labels(way) for symbol in (0, number))
            yield _Arc(source, target, word, spaced)
