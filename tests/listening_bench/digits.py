"""Numbers as a person says them: recorded digits strung together, with the unit behind them.

The digits are those of the recorded prompts, one speaker and one recording of each, so they stand
in both halves. The prompts have no word for the decimal sign and none for the unit: both are said
by a synthetic voice of the half, and the numbers measured have the sign in every third of them.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np

from assistant.ports import SAMPLE_RATE
from assistant.speech.embedded_engine import EmbeddedEngine
from assistant.speech.endpoint import EndpointSettings, for_numbers
from assistant.speech.pcm import BLOCK_BYTES, Samples
from assistant.speech.phone_decoder import Pronunciations, load_model
from assistant.speech.phone_listening import PhoneDetector, PhonesEngine
from assistant.speech.pocketsphinx_engine import model_folder
from tests.listening_bench import human
from tests.listening_bench.cases import RATIOS, Material
from tests.listening_bench.cutting import usable
from tests.listening_bench.figures import Rate
from tests.listening_bench.noise import NOISES, laid_in, trimmed_speech
from tests.listening_bench.table import LEVELS, Line
from tests.listening_bench.voices import speech

COUNT: Final = 90
"""Numbers of the published table, a third at each level of noise."""
_SIGN: Final = "."


@dataclass(frozen=True, slots=True)
class Spoken:
    """One number and what became of it."""

    words: str
    """Its digits and unit in words."""
    level: str
    heard: str
    """What would be read back, "" when no number was heard."""


def draw(count: int, seed: int = 1) -> list[str]:
    """Return numbers of three or four digits, every third with one decimal place."""
    generator = np.random.default_rng([seed, 11])
    found = []
    for turn in range(count):
        digits = "".join(str(d) for d in generator.integers(0, 10, 3 + turn % 2))
        found.append(f"{digits[:-1]}{_SIGN}{digits[-1]}" if turn % 3 == turn // 3 % 3 else digits)
    return found


def said(
    number: str,
    unit: str,
    material: Material,
    folder: Path,
    generator: np.random.Generator,
) -> Samples:
    """Return a number as sound, with pauses of 50 to 150 ms between the words."""
    people = material.speakers
    who = people[int(generator.integers(len(people)))]
    parts: list[Samples] = []
    for key in [*number, unit]:
        if key.isdigit():
            word = human.prompt(f"digits/{key}", folder)
        else:
            word = speech(who, "decimal" if key == _SIGN else unit, folder)
        sound = trimmed_speech(word).astype(np.float64)
        level = np.sqrt(np.mean(sound**2))
        parts.append((sound * (2000.0 / level)).clip(-32768, 32767).astype(np.int16))
        pause = int(SAMPLE_RATE * generator.uniform(0.05, 0.15))
        parts.append(np.zeros(pause, dtype=np.int16))
    return np.concatenate(parts[:-1])


@dataclass(frozen=True, slots=True)
class Number:
    """One number as it is said."""

    words: str
    level: str
    clip: Samples


def numbers(
    material: Material, folder: Path, digits: Mapping[str, Sequence[str]], unit: str
) -> Iterator[Number]:
    """Yield the numbers of one half, the same every time; renderings are kept in the folder."""
    for turn, number in enumerate(draw(COUNT)):
        generator = np.random.default_rng([turn, 13])
        level = LEVELS[turn // 3 % 3]
        words = said(number, unit, material, folder, generator)
        clip, _, _ = laid_in(words, NOISES[turn % 3], RATIOS[level], generator, material.talk)
        yield Number(" ".join([*(digits[key][0] for key in number), unit]), level, clip)


def measure(
    material: Material,
    folder: Path,
    pronunciations: Mapping[str, Sequence[str]],
    digits: Mapping[str, Sequence[str]],
    phrase: str,
) -> list[Spoken]:
    """Say numbers to pocketsphinx and note what it would read back.

    Args:
        material: voices and noise of one half.
        folder: where renderings are kept.
        pronunciations: as given to the live judge.
        digits: the words for "0" to "9" and ".".
        phrase: the phrase with the number's place in it and the unit behind it.
    """
    judge = EmbeddedEngine(pronunciations, digits)
    judge.prepare([*material.union, phrase], {phrase: "strict"})
    unit = phrase.rsplit(maxsplit=1)[-1]
    settings = for_numbers(EndpointSettings())
    found = []
    for number in numbers(material, folder, digits, unit):
        heard = [judge.judge(each.utterance) for each in usable(number.clip, settings)]
        text = next((each.text for each in heard if each.text.endswith(f" {unit}")), "")
        found.append(Spoken(number.words, number.level, _plain(text, digits)))
    return found


def measure_phones(
    material: Material,
    folder: Path,
    pronunciations: Mapping[str, Sequence[str]],
    digits: Mapping[str, Sequence[str]],
    phrase: str,
) -> list[Spoken]:
    """The same for the phone model, fed as a microphone feeds it and never flushed."""
    engine = PhonesEngine(load_model(), Pronunciations(model_folder(), pronunciations), digits)
    engine.prepare([*material.union, phrase], {phrase: "strict"}, (phrase,))
    unit = phrase.rsplit(maxsplit=1)[-1]
    found = []
    for number in numbers(material, folder, digits, unit):
        detector, data = PhoneDetector(engine), number.clip.astype("<i2").tobytes()
        blocks = [data[at : at + BLOCK_BYTES] for at in range(0, len(data), BLOCK_BYTES)]
        heard = [each.judgement for block in blocks[:-1] for each in detector.feed(block)]
        told = [each.text for each in heard if each.decision != "refuse"]
        text = next((each for each in told if each.endswith(f" {unit}")), "")
        found.append(Spoken(number.words, number.level, _plain(text, digits)))
    return found


def _plain(words: str, digits: Mapping[str, Sequence[str]]) -> str:
    """Return a number with the first word for each digit in place of its other forms."""
    first = {word: said[0] for said in digits.values() for word in said}
    return " ".join(first.get(word, word) for word in words.split())


def lines(heard: Mapping[str, Sequence[Spoken]]) -> list[Line]:
    """Return the lines of the table, one cell for each way of listening."""

    def line(figure: str, counted: Callable[[Sequence[Spoken]], Rate]) -> Line:
        return Line(figure, {name: str(counted(found)) for name, found in heard.items()})

    per = [
        line(f"people's digits right at first read-back, {level}", partial(_right, level=level))
        for level in LEVELS
    ]
    return [
        line("people's digits right at first read-back", _right),
        *per,
        line("people's digits read back wrong, to be negated", _wrong),
    ]


def _right(found: Sequence[Spoken], level: str = "") -> Rate:
    mine = [each for each in found if level in {"", each.level}]
    return Rate(sum(each.heard == each.words for each in mine), len(mine))


def _wrong(found: Sequence[Spoken]) -> Rate:
    return Rate(sum(each.heard not in {"", each.words} for each in found), len(found))
