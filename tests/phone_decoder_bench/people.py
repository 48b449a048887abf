"""People's phrases: plain in several noises, and muffled, very quiet or clipped.

They are telephone announcements by one speaker. Nothing was trained, fitted or chosen on them.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import Final

import numpy as np
from scipy.signal import butter, sosfilt

from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import FULL_SCALE, Samples
from tests.listening_bench import human
from tests.listening_bench.noise import Noise, laid_in, loudness, trimmed_speech
from tests.listening_bench.texts import HUMAN_PHRASES

from .clips import LEVELS, Clip
from .measure import Asked

CONDITIONS: Final[tuple[tuple[str, Noise], ...]] = (
    ("clean", "pink"),
    ("20", "hum"),
    ("20", "babble"),
    ("10", "hum"),
    ("10", "babble"),
)
BADLY: Final = ("muffled", "very quiet", "clipped")
MUFFLED_HZ: Final = 2000
QUIET_DBFS: Final = -62.0
CLIPPED_DB: Final = 20.0
"""So far over full scale the loudest sample would be."""


def asked(clip: Clip) -> Asked:
    """Return what may be said: every phrase of the people, the clip's one expected."""
    spoken = set(HUMAN_PHRASES.values())
    return dict.fromkeys(spoken, "strict"), (), (clip.phrase,)


def clips(folder: Path) -> Iterator[Clip]:
    """Yield every phrase in every condition; recordings are kept in the folder."""
    talk = [samples for _, samples in human.recordings("test", folder)]
    talk = [samples for samples in talk if samples.size > SAMPLE_RATE]
    conditions = [(f"{level} {noise}", level, noise) for level, noise in CONDITIONS]
    conditions += [(treatment, "clean", "pink") for treatment in BADLY]
    for place, (told, level, noise) in enumerate(conditions):
        for number, (name, phrase) in enumerate(HUMAN_PHRASES.items()):
            chance = np.random.default_rng([number, place, 17])
            words = trimmed_speech(human.prompt(name, folder))
            whole, begin, end = laid_in(words, noise, LEVELS[level], chance, talk)
            heard = spoil(whole, told) if told in BADLY else whole
            yield Clip("people", told, noise, name, phrase, phrase, heard, begin, end)


def spoil(samples: Samples, treatment: str) -> Samples:
    """Return a clip as a bad microphone gives it; "muffled", "very quiet" or "clipped"."""
    sound = samples.astype(np.float64)
    if treatment == "muffled":
        sound = sosfilt(butter(4, MUFFLED_HZ, fs=SAMPLE_RATE, output="sos"), sound)
    elif treatment == "very quiet":
        sound *= FULL_SCALE * 10 ** (QUIET_DBFS / 20) / loudness(samples)
    else:
        sound *= FULL_SCALE * 10 ** (CLIPPED_DB / 20) / np.abs(sound).max()
    return np.clip(np.rint(sound), -32768, 32767).astype(np.int16)
