"""The clips: phrases plain, hesitant, contradicted, among words; near misses; other talk.

Every clip is a pure function of its kind, half and number. The halves share no voice, no near miss
and no talk.
"""

import json
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import Samples
from tests.listening_bench.noise import NOISES, Noise, laid_in, trimmed_speech
from tests.listening_bench.situations import HARMLESS, union
from tests.listening_bench.texts import CHATTER, NEAR
from tests.listening_bench.voices import Half, Speaker, available, speech

ROOT: Final = Path(__file__).parent.parent.parent
LEVELS: Final = {"clean": 45.0, "20": 20.0, "10": 10.0}
"""Loud half of the speech over the noise, dB."""
KINDS: Final = (
    *("phrase", "pause 0.3", "pause 0.5", "talk before", "talk behind"),
    *("no behind", "not before", "near miss", "talk", "foreign talk", "digits"),
)
GAP: Final = 0.06
"""Seconds between a phrase and the words beside it."""
BEFORE: Final = (
    *("okay", "right", "um", "so the", "and then", "yes", "well I think", "now"),
    *("all right then", "let me see", "I said", "it was the"),
)
BEHIND: Final = (
    *("thank you", "okay", "I think", "please", "for now", "and so on", "my friend", "right"),
)
NO: Final = ("no", "no it is not", "no wait", "wait", "stop", "negative")
FOREIGN: Final = {
    "de": ("guten Morgen zusammen", "wo ist der Schlüssel für die Waage", "ich komme gleich",
           "das Pulver ist noch nicht fertig", "die Probe ist leer", "noch einmal von vorne"),
    "fr": ("bonjour tout le monde", "où est la clé du magasin", "la poudre est encore humide",
           "je reviens tout de suite", "le tube est vide", "encore une fois"),
    "es": ("buenos días a todos", "dónde está la llave", "el polvo todavía está húmedo",
           "vuelvo enseguida", "el tubo está vacío", "otra vez desde el principio"),
    "it": ("buongiorno a tutti", "dove si trova la chiave", "la polvere è ancora umida",
           "torno subito", "il tubo è vuoto", "ancora una volta"),
    "pl": ("dzień dobry wszystkim", "gdzie jest klucz do wagi", "proszek jest jeszcze mokry",
           "zaraz wracam", "rurka jest pusta", "jeszcze raz od początku"),
}  # fmt: skip
"""Even places belong to the tuning half, odd ones to the test half."""

Wave = npt.NDArray[np.float64]
Piece = tuple[str, str, str, Wave]
"""Voice, words, the phrase in them, and their sound."""


@dataclass(frozen=True, slots=True)
class Clip:
    """One recording with what is said in it."""

    kind: str
    level: str
    noise: Noise
    voice: str
    said: str
    """All words; a bar stands for a short gap, a comma for a pause."""
    phrase: str
    """The phrase in it, "" where there is none."""
    samples: Samples
    begin: int
    """Where the words begin, in samples."""
    end: int


@cache
def grammar() -> dict[str, dict[str, Any]]:
    """Return the phrases file."""
    with (ROOT / "grammars" / "en.toml").open("rb") as file:
        return tomllib.load(file)


@cache
def phrases() -> tuple[str, ...]:
    """Return every phrase with every object filled in."""
    return union({name: str(text) for name, text in grammar()["phrases"].items()})


@cache
def short_phrases() -> tuple[str, ...]:
    """Return the phrases that only the short dialogue has, with every object filled in."""
    table = {name: str(text) for name, text in grammar()["phrases"].items()}
    return tuple(each for each in union(table, without=()) if each not in phrases())


def lenient() -> frozenset[str]:
    """Return the phrases that neither advance nor record."""
    table = grammar()["phrases"]
    return frozenset(str(table[name]).lower() for name in HARMLESS if name in table)


class Studio:
    """Makes the clips of one half."""

    def __init__(self, half: Half, cache_folder: Path) -> None:
        """Find the voices."""
        self.half, self._cache = half, cache_folder
        self.voices = available(half)
        odd = half == "test"
        self._near, self._talk = NEAR[odd::2], CHATTER[odd::2]
        self._foreign = {name: rows[odd::2] for name, rows in FOREIGN.items()}

    @cache  # noqa: B019 - a studio lives as long as the program
    def murmur(self) -> Sequence[Samples]:
        """Return talk for babble."""
        return [speech(who, text, self._cache) for who in self.voices for text in self._talk[:6]]

    def say(self, who: Speaker, text: str) -> Wave:
        """Return one text in one voice, without the stillness around it."""
        return trimmed_speech(speech(who, text, self._cache)).astype(np.float64)

    def clip(self, kind: str, level: str, number: int) -> Clip:
        """Make one clip."""
        generator = np.random.default_rng([number, KINDS.index(kind), self.half == "test"])
        who = self.voices[int(generator.integers(len(self.voices)))]
        if kind == "foreign talk":
            language = tuple(FOREIGN)[int(generator.integers(len(FOREIGN)))]
            variant = ("", "+f3", "+m4")[int(generator.integers(3))]
            who = Speaker("espeak", language + variant, 0.95, self.half)
        said, phrase = self._words(kind, generator, who.voice.split("+")[0])
        return laid(kind, level, number, (who.name, said, phrase, self._sound(who, said)), self)

    def _sound(self, who: Speaker, said: str) -> Wave:
        parts: list[Wave] = []
        for place, piece in enumerate(said.replace("|", ";0.06;").split(";")):
            spoken = place % 2 == 0
            parts.append(
                self.say(who, piece) if spoken else np.zeros(int(SAMPLE_RATE * float(piece)))
            )
        return np.concatenate(parts)

    def _words(self, kind: str, generator: np.random.Generator, language: str) -> tuple[str, str]:
        def one(rows: Sequence[str]) -> str:
            return rows[int(generator.integers(len(rows)))]

        phrase = one(phrases())
        if kind.startswith("pause"):
            phrase = one([each for each in phrases() if " " in each])
            words = phrase.split()
            cut = int(generator.integers(1, len(words)))
            return f"{' '.join(words[:cut])};{kind.split()[1]};{' '.join(words[cut:])}", phrase
        if kind == "digits":
            return (number := _number(generator)), number
        others = {"near miss": self._near, "talk": self._talk, "foreign talk": ()}
        if kind in others:
            return one(others[kind] or self._foreign[language]), ""
        around = {
            "talk before": (BEFORE, ()),
            "talk behind": ((), BEHIND),
            "no behind": ((), NO),
            "not before": (("not",), ()),
        }
        before, behind = around.get(kind, ((), ()))
        said = [*([one(before)] if before else []), phrase, *([one(behind)] if behind else [])]
        return "|".join(said), phrase


def _number(generator: np.random.Generator) -> str:
    words = [next(iter(each)) for each in (grammar()["digits"][str(d)] for d in range(10))]
    drawn = [words[int(generator.integers(10))] for _ in range(int(generator.integers(1, 5)))]
    if generator.random() < 0.4:
        drawn += ["decimal", words[int(generator.integers(10))]]
    return " ".join([*drawn, "milligrams"])


def laid(kind: str, level: str, number: int, piece: Piece, studio: Studio) -> Clip:
    """Lay words into noise; the noise follows from the number."""
    voice, said, phrase, sound = piece
    noise = NOISES[number % len(NOISES)]
    generator = np.random.default_rng([number, KINDS.index(kind), 11])
    words = np.clip(np.rint(sound), -32768, 32767).astype(np.int16)
    whole, begin, end = laid_in(words, noise, LEVELS[level], generator, studio.murmur())
    return Clip(kind, level, noise, voice, said, phrase, whole, begin, end)


class NaturalVoices:
    """Clips of voices rendered elsewhere: a folder with rows.json and one .npy for each row.

    A row is [number, voice, part, words]; parts: phrase, aside, half1, half2, digits, near, talk.
    """

    def __init__(self, folder: Path) -> None:
        """Read the list."""
        self._folder = folder
        self._rows = json.loads((folder / "rows.json").read_text())

    def clips(self, kind: str, level: str, studio: Studio) -> list[Clip]:
        """Return every clip of one kind that can be made of the folder."""
        pieces = enumerate(self._pieces(kind))
        return [laid(kind, level, number, piece, studio) for number, piece in pieces]

    def _sound(self, number: int) -> Wave:
        return trimmed_speech(np.load(self._folder / f"{number}.npy")).astype(np.float64)

    def _pieces(self, kind: str) -> list[Piece]:
        plain = {"phrase": "phrase", "near miss": "near", "talk": "talk", "digits": "digits"}
        rows = [(n, v, p, w) for n, v, p, w in self._rows]
        if kind in plain:
            told = kind in ("phrase", "digits")
            return [
                (v, w, w if told else "", self._sound(n)) for n, v, p, w in rows if p == plain[kind]
            ]
        if kind.startswith("pause"):
            return [piece for row in rows if (piece := self._paused(row, kind))]
        return self._beside(kind, rows)

    def _paused(self, row: tuple[int, str, str, str], kind: str) -> Piece | None:
        number, voice, part, words = row
        other = [n for n, v, p, w in self._rows if (v, p, w) == (voice, "half2", words)]
        if part != "half1" or not other:
            return None
        still = np.zeros(int(SAMPLE_RATE * float(kind.split()[1])))
        sound = np.concatenate([self._sound(number), still, self._sound(other[0])])
        return voice, words, words.replace("|", " "), sound

    def _beside(self, kind: str, rows: Sequence[tuple[int, str, str, str]]) -> list[Piece]:
        wanted = {
            "no behind": ("no it is not", "wait no", "stop"),
            "not before": ("not",),
            "talk before": ("okay", "right so"),
            "talk behind": ("okay",),
        }.get(kind, ())
        gap = np.zeros(int(SAMPLE_RATE * GAP))
        made = []
        for number, voice, part, words in rows:
            asides = [(n, w) for n, v, p, w in rows if (v, p) == (voice, "aside") and w in wanted]
            if part != "phrase" or not asides:
                continue
            place, aside = asides[number % len(asides)]
            pair = [self._sound(number), gap, self._sound(place)]
            first = kind.endswith("before")
            said = f"{aside}|{words}" if first else f"{words}|{aside}"
            made.append((voice, said, words, np.concatenate(pair[::-1] if first else pair)))
        return made
