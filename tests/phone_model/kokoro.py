"""Natural voices: phones as the synthesiser numbers them, voices, and their sound by the graph."""

import json
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt

from .espeak import Espeak

# fmt: off
TEST_VOICES: Final = [
    "af_nova", "af_sarah", "am_eric", "am_michael", "bf_emma", "bm_lewis", "ff_siwis", "hm_omega",
]
# fmt: on
"""Never in training: the eight unseen natural voices of every measurement."""
TUNING_VOICES: Final = ("am_onyx", "bf_lily")
"""Never in training: weights are chosen on these and the benchmark's tuning half."""
RATE: Final = 24_000
"""Samples a second that the synthesiser gives."""
ROWS: Final = 128
"""Rows kept of each voice: its style depends on the number of phones."""

_SPELT: Final = (
    ("ɚ", "əɹ"), ("eɪ", "A"), ("aɪ", "I"), ("oʊ", "O"), ("əʊ", "Q"), ("aʊ", "W"), ("ɔɪ", "Y"),
    ("tʃ", "ʧ"), ("dʒ", "ʤ"), ("ɐ", "ə"), ("ɫ", "l"), ("r", "ɹ"),
    ("ɜː", "ɜːɹ"), ("ɜːɹɹ", "ɜːɹ"), ("əɹɹ", "əɹ"), ("ɾ", "T"),
)  # fmt: skip
"""How the synthesiser was taught to spell what espeak spells otherwise (from memory)."""


@dataclass(frozen=True, slots=True)
class Job:
    """One text in one voice, or in a mixture of two."""

    part: str
    """train, tuning or test."""
    kind: str
    text: str
    tokens: tuple[int, ...]
    one: str
    other: str
    share: float
    """Of the first voice."""
    speed: float


def tokens(text: str, accent: str, espeak: Espeak, vocabulary: Mapping[str, int]) -> list[int]:
    """Return the synthesiser's numbers of a text's phones; a comma is a pause."""
    espeak.voice(accent)
    said = ", ".join(espeak.phones(part) for part in text.split(" , "))
    american = accent == "en-us"
    for theirs, ours in _SPELT:
        if theirs.startswith("ɜː") and not american:
            continue
        said = said.replace(theirs, ours)
    if american:
        said = said.replace("ː", "")
    return [vocabulary[letter] for letter in said if letter in vocabulary]


def jobs(
    texts: Sequence[tuple[str, str]],
    voices: Sequence[str],
    espeak: Espeak,
    vocabulary: Mapping[str, int],
    seed: int,
) -> list[Job]:
    """Give every text a training voice, or a mixture of two, English ones three times as often."""
    chance = random.Random(seed)  # noqa: S311 - no secret
    free = [name for name in voices if name not in {*TEST_VOICES, *TUNING_VOICES}]
    weights = [3 if name[0] in "ab" else 1 for name in free]
    made = []
    for kind, text in texts:
        one, other = chance.choices(free, weights, k=2)
        share = 1.0 if chance.random() < 0.4 else chance.uniform(0.3, 0.9)
        accent = "en" if one[0] == "b" else "en-us"
        said = tokens(text, accent, espeak, vocabulary)
        speed = round(chance.uniform(0.75, 1.3), 2)
        plain = " ".join(text.replace(",", " ").split())
        if len(said) < ROWS:
            made.append(Job("train", kind, plain, tuple(said), one, other, share, speed))
    return made


def measuring_jobs(
    phrases: Sequence[str], espeak: Espeak, vocabulary: Mapping[str, int]
) -> list[Job]:
    """Return every phrase by every voice that is kept out of training."""
    made = []
    for part, names in (("test", TEST_VOICES), ("tuning", TUNING_VOICES)):
        for name in names:
            accent = "en" if name[0] == "b" else "en-us"
            for text in phrases:
                said = tuple(tokens(text, accent, espeak, vocabulary))
                made.append(Job(part, "phrase", text, said, name, name, 1.0, 1.0))
    return made


def style(voices: Mapping[str, npt.NDArray[np.float16]], job: Job) -> npt.NDArray[np.float32]:
    """Return the row of 256 numbers that makes a voice (1, 256)."""
    row = len(job.tokens)
    one, other = (voices[name][row].astype(np.float32) for name in (job.one, job.other))
    mixed: npt.NDArray[np.float32] = one * job.share + other * (1 - job.share)
    return mixed[None]


def vocabulary_of(package: Path) -> dict[str, int]:
    """Read the numbers of the phones from the package kokoro-onnx."""
    found: dict[str, int] = json.loads((package / "config.json").read_text())["vocab"]
    return found
