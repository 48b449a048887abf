"""What the training voices say: phrases, near misses, plain words, digits, phrase beside talk.

Every text is words of the dictionary parted by blanks; "," stands for a pause between two words.
"""

import random
import tomllib
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from tests.listening_bench.situations import union

from .lexicon import Common, distance, follows, pronunciations

DIGITS: Final = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
# fmt: off
CALLS: Final = [
    "alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india", "juliett",
    "kilo", "lima", "mike", "november", "oscar", "papa", "quebec", "romeo", "sierra", "tango",
    "uniform", "victor", "whiskey", "x-ray", "yankee", "zulu",
]
# fmt: on
# fmt: off
TAKEN_BACK: Final = [
    "no", "not", "negative", "wait", "stop", "sorry", "cancel that", "no wait", "no it is not",
    "not yet", "hold on", "no no", "that is wrong", "not now", "i mean",
]
# fmt: on
"""Said right after a phrase, these take it back: they must be heard as words of their own."""
# fmt: off
LEADING: Final = [
    "okay", "so", "well", "right", "and", "now", "not", "all right", "the", "yes", "then", "uh",
    "um", "not the", "no",
]
# fmt: on

MIX: Final = {
    "phrase": 20,
    "pause": 5,
    "near": 25,
    "general": 30,
    "digits": 8,
    "beside": 12,
}
"""Parts of a hundred."""
LONGEST: Final = 62
"""Characters; longer texts do not fit the network's six seconds when said slowly."""


def grammar_phrases(path: Path) -> tuple[str, ...]:
    """Return every phrase of a grammar file with its objects filled in, in lower case."""
    phrases = tomllib.loads(path.read_text())["phrases"]
    known = pronunciations()
    said = [text.lower() for text in union(phrases)]
    said += [f"this is {call}" for call in CALLS]
    return tuple(t for t in dict.fromkeys(said) if all(word in known for word in t.split()))


@dataclass(slots=True)
class Writer:
    """Makes texts, the same ones for the same seed."""

    phrases: Sequence[str]
    barred: Collection[str]
    """Texts that measurements use; they are never made."""
    seed: int
    common: Common = field(default_factory=lambda: Common.read(16_000))
    _near: dict[str, list[str]] = field(default_factory=dict)
    _chance: random.Random = field(init=False)
    _flat: list[float] = field(init=False)

    def __post_init__(self) -> None:
        """Start the chance and flatten the word weights, so that rare words are said too."""
        self._chance = random.Random(self.seed)  # noqa: S311 - no secret
        top = max(self.common.weights)
        total = 0.0
        self._flat = []
        for weight in self.common.weights:
            total += 2.718281828 ** (0.38 * (weight - top))
            self._flat.append(total)

    def write(self, count: int) -> list[tuple[str, str]]:
        """Return `count` pairs of kind and text."""
        makers: dict[str, Callable[[], str]] = {
            "phrase": lambda: self._chance.choice(self.phrases),
            "pause": self._paused,
            "near": self._near_miss,
            "general": self._general,
            "digits": self._digits,
            "beside": self._beside,
        }
        kinds, parts = list(MIX), list(MIX.values())
        known = pronunciations()
        made: list[tuple[str, str]] = []
        while len(made) < count:
            kind = self._chance.choices(kinds, parts)[0]
            text = makers[kind]()
            words = text.replace(",", " ").split()
            plain = " ".join(words)
            fits = words and len(text) <= LONGEST and plain not in self.barred
            if fits and all(word in known for word in words):
                made.append((kind, text))
        return made

    def _paused(self) -> str:
        words = self._chance.choice(self.phrases).split()
        if len(words) < 2:
            return ""
        place = self._chance.randrange(1, len(words))
        return " ".join(words[:place]) + " , " + " ".join(words[place:])

    def _words(self, count: int) -> list[str]:
        """Draw words, each the likeliest of a few after the one before it."""
        made: list[str] = []
        for _ in range(count):
            few = self._chance.choices(self.common.words, cum_weights=self._flat, k=12)
            if made and self._chance.random() < 0.7:
                before = made[-1]
                few.sort(key=lambda word: follows(before, word), reverse=True)
            made.append(few[0])
        return made

    def _general(self) -> str:
        return " ".join(self._words(self._chance.choices(range(1, 9), [2, 3, 4, 4, 3, 2, 2, 1])[0]))

    def _digits(self) -> str:
        said = [self._chance.choice(DIGITS) for _ in range(self._chance.randint(1, 6))]
        if len(said) > 1 and self._chance.random() < 0.4:
            said.insert(self._chance.randrange(1, len(said)), "point")
        return " ".join(said + ["milligrams"] * (self._chance.random() < 0.45))

    def _beside(self) -> str:
        phrase = self._chance.choice(self.phrases)
        draw = self._chance.random()
        if draw < 0.25:
            return f"{phrase} {self._chance.choice(TAKEN_BACK)}"
        if draw < 0.45:
            return f"{self._chance.choice(LEADING)} {phrase}"
        talk = " ".join(self._words(self._chance.randint(1, 4)))
        return f"{phrase} {talk}" if draw < 0.72 else f"{talk} {phrase}"

    def _near_miss(self) -> str:
        words = self._chance.choice(self.phrases).split()
        draw = self._chance.random()
        any_word = self._words(1)[0]
        place = self._chance.randrange(len(words))
        if draw < 0.62 or len(words) < 2:
            for at in {place, self._chance.randrange(len(words))}:
                words[at] = self._chance.choice(self._sounding_like(words[at]) or [words[at]])
        elif draw < 0.70:
            del words[place]
        elif draw < 0.80:
            words.insert(self._chance.choice((0, len(words))), any_word)
        elif draw < 0.93:
            words[place] = any_word
        else:
            self._chance.shuffle(words)
        return " ".join(words)

    def _sounding_like(self, word: str) -> list[str]:
        """Return common words one or two phones away."""
        if word not in self._near:
            said = pronunciations()
            mine = said[word]
            limit = 1 if len(mine) < 4 else 2
            close = [
                other
                for other in self.common.words[:9000]
                if abs(len(said[other]) - len(mine)) <= limit
                and 1 <= distance(mine, said[other]) <= limit
            ]
            self._near[word] = close[:40]
        return self._near[word]
