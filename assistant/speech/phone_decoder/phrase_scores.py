"""How well phrases explain a stretch of sound: the CTC forward sum, all phrases at once.

Every score is the logarithm of a ratio: the probability of the phrase over that of the free path,
the likeliest symbol in every frame. It is 0 or less but for the sum over paths, and what the room
does to all phrases alike drops out.

The search is filler, phrase, filler. The filler takes silence for nothing and any other sound at a
stated price per frame, so that sound before or after a phrase is paid for and never lost; with a
price of infinity it takes silence only. (Graves et al. 2006 give the forward sum.)
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from assistant.grammar.phones import PHONES, Way

FILLER_PRICE: Final = 2.0
"""Natural logarithms that one frame of sound outside the phrase costs; a phone peaks in one or two
frames."""
SILENCE_ONLY: Final = math.inf
LOWEST: Final = -600.0
"""Scores are not counted below this."""
_LEAST_RATIO: Final = math.exp(-12.0)
"""One frame counts no further down than this, so that a click cannot sink a phrase."""
_TIDY_FRAMES: Final = 8
_VANISHING: Final = 1e-240
_NUMBER: Final = {phone: place + 1 for place, phone in enumerate(PHONES)}
_FILLER: Final = len(PHONES) + 1
"""Column of the filler behind those of the blank and the phones."""

Floats = npt.NDArray[np.float64]
Numbers = npt.NDArray[np.intp]


def ratios(posteriors: Floats, filler_price: float = FILLER_PRICE) -> Floats:
    """Return every symbol's probability over that of the likeliest one, frame by frame.

    Args:
        posteriors: natural logarithms, shape (frames, 40).
        filler_price: logarithms that a frame of sound outside the phrase costs.

    Returns:
        shape (frames, 41); the last column is the filler.
    """
    best = posteriors.max(axis=1, keepdims=True)
    scaled = np.maximum(np.exp(posteriors - best), _LEAST_RATIO)
    filler = np.maximum(scaled[:, :1], math.exp(-filler_price))
    return np.hstack([scaled, filler])


def labels(way: Sequence[str]) -> list[int]:
    """Return the numbers of a row of phones in the network's output."""
    return [_NUMBER[phone] for phone in way]


def states(numbers: Sequence[int]) -> list[int]:
    """Return the symbols of a phrase's states: filler, phones with blanks between, filler."""
    between = [symbol for number in numbers for symbol in (number, 0)]
    return [_FILLER, *between[:-1], _FILLER]


class PhraseSet:
    """Phrases, each with its ways of being said, laid out for scoring together."""

    def __init__(self, phrases: Mapping[str, Sequence[Sequence[Way]]]) -> None:
        """Lay out the phrases.

        Args:
            phrases: each with its ways; a way is a row of phones for every word.

        Raises:
            ValueError: there is no phrase, or one without a way or a phone.
        """
        rows = [
            states(labels([phone for word in way for phone in word]))
            for ways in phrases.values()
            for way in ways
        ]
        if not phrases or not all(phrases.values()) or min(map(len, rows)) < 3:  # noqa: PLR2004 - two fillers and a phone
            raise ValueError("each phrase needs a way to say it")
        self.names = tuple(phrases)
        self.ways = tuple(tuple(way) for ways in phrases.values() for way in ways)
        counts = [len(ways) for ways in phrases.values()]
        self.first = np.cumsum([0, *counts[:-1]])
        """Place of each phrase's first way among all ways."""
        self._last = np.array([len(row) - 1 for row in rows])
        longest = max(map(len, rows))
        padded = np.array([row + [_FILLER] * (longest - len(row)) for row in rows])
        self._symbols: Numbers = np.ascontiguousarray(padded.T)
        skips = np.zeros(self._symbols.shape)
        # A blank may be left out between two different phones, never between two alike.
        odd = np.arange(3, longest, 2)
        skips[odd] = self._symbols[odd] != self._symbols[odd - 2]
        skips[self._symbols == _FILLER] = 0.0
        self._skips = skips[2:]

    def ways_scores(self, ratio: Floats) -> Floats:
        """Return the score of every way, in the order of `ways`, at least `LOWEST`.

        Args:
            ratio: as made by `ratios`.
        """
        if not len(ratio):
            return np.full(len(self.ways), LOWEST)
        reached = np.zeros(self._symbols.shape)
        reached[:2] = ratio[0][self._symbols[:2]]
        for number, frame in enumerate(ratio[1:], start=1):
            stepped = reached.copy()
            stepped[1:] += reached[:-1]
            stepped[2:] += self._skips * reached[:-2]
            reached = stepped * frame[self._symbols]
            if number % _TIDY_FRAMES == 0:
                # Numbers below the normal range would make the arithmetic slow.
                reached[reached < _VANISHING] = 0.0
        column = np.arange(len(self.ways))
        total = reached[self._last, column] + reached[self._last - 1, column]
        with np.errstate(divide="ignore"):
            found: Floats = np.maximum(np.log(total), LOWEST)
        return found

    def scores(self, ratio: Floats) -> Floats:
        """Return the score of every phrase by its best way, in the order of `names`."""
        found: Floats = np.maximum.reduceat(self.ways_scores(ratio), self.first)
        return found

    def best_way(self, name: int, by_way: Floats) -> tuple[Way, ...]:
        """Return the way of a phrase (by number) that scores best."""
        last = self.first[name + 1] if name + 1 < len(self.names) else len(self.ways)
        mine = by_way[self.first[name] : last]
        return self.ways[int(self.first[name] + int(mine.argmax()))]


@dataclass(frozen=True, slots=True)
class Alignment:
    """The likeliest path of one way of a phrase through a stretch of sound."""

    begin: int
    """First frame of the phrase."""
    end: int
    """Frame after its last phone."""
    phones: tuple[float, ...]
    """For each phone the score of its frames and of the blanks behind it, 0 or less."""
    starts: tuple[int, ...]
    """First frame of each phone."""
    inside: float
    """Score of the frames of the phrase."""


def align(way: Sequence[Way], ratio: Floats) -> Alignment | None:
    """Lay one way of a phrase along the sound (Viterbi), None where there are too few frames.

    Args:
        way: a row of phones for every word.
        ratio: as made by `ratios`.
    """
    symbols: Numbers = np.array(states(labels([phone for word in way for phone in word])))
    if len(ratio) < 1:
        return None
    path = _path(symbols, np.log(ratio))
    if path is None:
        return None
    inside = np.flatnonzero((path > 0) & (path < len(symbols) - 1))
    costs = np.log(ratio[np.arange(len(path)), symbols[path]])
    place = (path[inside] - 1) // 2
    count = (len(symbols) - 1) // 2
    sums = np.bincount(place, weights=costs[inside], minlength=count)
    starts = [int(inside[np.searchsorted(place, number)]) for number in range(count)]
    spoken = inside[path[inside] % 2 == 1]
    return Alignment(
        int(inside[0]),
        int(spoken[-1]) + 1,
        tuple(float(value) for value in sums),
        tuple(starts),
        float(costs[inside].sum()),
    )


def _path(symbols: Numbers, logs: Floats) -> Numbers | None:
    """Return the state in every frame along the likeliest path, None where none fits."""
    count = len(symbols)
    barred = np.full(count, -np.inf)
    skip = np.zeros(count, dtype=bool)
    skip[3::2] = symbols[3::2] != symbols[1:-2:2]
    reached = barred.copy()
    reached[:2] = logs[0][symbols[:2]]
    back = np.zeros((len(logs), count), dtype=np.int8)
    for number in range(1, len(logs)):
        by_one = np.concatenate([[-np.inf], reached[:-1]])
        by_two = np.where(skip, np.concatenate([[-np.inf, -np.inf], reached[:-2]]), -np.inf)
        choices = np.stack([reached, by_one, by_two])
        back[number] = choices.argmax(axis=0)
        reached = choices.max(axis=0) + logs[number][symbols]
    state = count - 1 if reached[-1] >= reached[-2] else count - 2
    if not np.isfinite(reached[state]):
        return None
    path = np.empty(len(logs), dtype=np.intp)
    for number in range(len(logs) - 1, -1, -1):
        path[number] = state
        state -= int(back[number, state])
    return path


def greedy_phones(posteriors: Floats) -> list[tuple[str, int]]:
    """Return the phones of the free path, each with the frame in which it begins."""
    best = posteriors.argmax(axis=1) if len(posteriors) else np.zeros(0, dtype=int)
    before = np.concatenate([[0], best[:-1]])
    return [
        (PHONES[int(best[frame]) - 1], int(frame))
        for frame in np.flatnonzero((best != before) & (best > 0))
    ]
