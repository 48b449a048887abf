"""The clips of the measurements: who says what, where in the procedure, in which noise."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

import numpy as np

from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import Samples, bytes_of, samples_of
from tests.listening_bench import human
from tests.listening_bench.noise import CLEAN_DB, NOISES, Noise, laid_in, make, trimmed_speech
from tests.listening_bench.situations import Situation, situations, union
from tests.listening_bench.texts import CHATTER, HUMAN_PHRASES, NEAR
from tests.listening_bench.voices import Half, Speaker, available, speech

Kind = Literal["phrase", "human-phrase", "near", "chatter", "human", "noise", "harm"]
RATIOS: Final = {"clean": CLEAN_DB, "20 dB": 20.0, "10 dB": 10.0}


@dataclass(frozen=True, slots=True)
class Case:
    """One clip to be judged."""

    number: int
    kind: Kind
    text: str
    """The words, or the name of the recording and where the piece was cut from it."""
    voice: str
    half: Half
    noise: Noise
    level: str
    """"clean", "20 dB" or "10 dB"."""
    situation: Situation


@dataclass(frozen=True, slots=True)
class Clip:
    """The sound of a case, with where in it the words stand (in samples)."""

    samples: Samples
    begin: int
    end: int


class Material:
    """All sources of sound for one half, over a folder where renderings are kept."""

    def __init__(self, half: Half, phrases: Mapping[str, str], cache_folder: Path) -> None:
        """Find the voices and recordings of one half.

        Args:
            half: which half.
            phrases: the phrases by the name of their meaning.
            cache_folder: where renderings are kept; made if missing.
        """
        self.half: Half = half
        self._folder = cache_folder
        self.speakers: Sequence[Speaker] = available(half)
        self.recordings = human.recordings(half, cache_folder)
        self.talk = [samples for _, samples in self.recordings if samples.size > SAMPLE_RATE]
        self.situations = situations(phrases)
        names = [name for name in HUMAN_PHRASES if human.half_of(name) == half]
        self.human_phrases = {name: HUMAN_PHRASES[name] for name in names}
        self.union = union(phrases)
        self.human_union = (*self.union, *dict.fromkeys(self.human_phrases.values()))
        self.human_situation = Situation(
            "human", tuple(self.human_phrases.values()), frozenset(self.human_phrases.values())
        )

    def union_of(self, case: Case) -> tuple[str, ...]:
        """Return all phrases that can be heard in a case."""
        return self.human_union if case.kind == "human-phrase" else self.union

    def clip(self, case: Case) -> Clip:
        """Return the sound of a case; the same for the same case."""
        generator = np.random.default_rng([case.number, 7 if case.half == "test" else 5])
        words = self._words(case)
        samples, begin, end = laid_in(words, case.noise, RATIOS[case.level], generator, self.talk)
        return Clip(samples, begin, end)

    def _words(self, case: Case) -> Samples:
        if case.kind == "human-phrase":
            return trimmed_speech(human.prompt(case.voice, self._folder))
        if case.kind in {"human", "harm"}:
            name, start, stop = case.text.split("|")
            whole = dict(self.recordings)[name]
            return whole[int(start) : int(stop)]
        if case.kind == "noise":
            generator = np.random.default_rng([case.number, 3])
            burst = make(
                case.noise, int(SAMPLE_RATE * generator.uniform(0.8, 2.0)), generator, self.talk
            )
            return samples_of(bytes_of(burst * 1000.0))
        who = next(each for each in self.speakers if each.name == case.voice)
        return trimmed_speech(speech(who, case.text, self._folder))


def plan(material: Material, wanted: Mapping[Kind, int], seed: int = 1) -> list[Case]:
    """Draw the cases of one half.

    Args:
        material: voices, recordings and situations.
        wanted: how many of each kind.
        seed: start of the draw.
    """
    generator = np.random.default_rng([seed, len(material.half)])
    cases: list[Case] = []
    for kind, count in wanted.items():
        for turn in range(count):
            cases.append(_draw(material, kind, turn, len(cases), generator))
    return cases


def _draw(
    material: Material, kind: Kind, turn: int, number: int, generator: np.random.Generator
) -> Case:
    level = list(RATIOS)[turn % 3]
    noise = NOISES[int(generator.integers(3))]
    situation = material.situations[int(generator.integers(len(material.situations)))]
    voice, text = "", ""
    if kind == "human-phrase":
        names = list(material.human_phrases)
        voice = names[(turn // 3) % len(names)]
        text, situation = material.human_phrases[voice], material.human_situation
    elif kind in {"human", "harm"}:
        voice, text = "human", _piece(material, generator)
    elif kind != "noise":
        voice = material.speakers[int(generator.integers(len(material.speakers)))].name
        text = _text(material, kind, situation, generator)
    return Case(number, kind, text, voice, material.half, noise, level, situation)


def _text(
    material: Material, kind: Kind, situation: Situation, generator: np.random.Generator
) -> str:
    if kind == "phrase":
        return situation.legal[int(generator.integers(len(situation.legal)))]
    pool = NEAR if kind == "near" else CHATTER
    mine = pool[material.half == "test" :: 2]
    return mine[int(generator.integers(len(mine)))]


def _piece(material: Material, generator: np.random.Generator) -> str:
    """Cut a piece of 0.6 to 3 s out of a recording, longer recordings more often."""
    weights = np.array([min(samples.size, 20 * SAMPLE_RATE) for _, samples in material.recordings])
    chosen = int(generator.choice(len(weights), p=weights / weights.sum()))
    name, samples = material.recordings[chosen]
    length = int(SAMPLE_RATE * generator.uniform(0.6, 3.0))
    if samples.size <= length * 1.3:
        return f"{name}|0|{samples.size}"
    start = int(generator.integers(samples.size - length))
    return f"{name}|{start}|{start + length}"
