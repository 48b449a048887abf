"""Tunes instead of speech: sound whose likeness is known."""

from collections.abc import Callable
from typing import Final

import numpy as np
import pytest

from assistant.ports import SAMPLE_RATE
from assistant.speech.utterance_verification.trimming import Samples

TUNES: Final = {"rising": (400.0, 900.0, 2000.0), "falling": (2000.0, 900.0, 400.0)}


@pytest.fixture(scope="session")
def sung() -> Callable[..., Samples]:
    """Return a singer of three notes, with half a second of hiss before and after."""

    def sing(tune: str, note_s: float = 0.2, *, hiss: float = 5.0, gain: float = 4000.0) -> Samples:
        time = np.arange(int(SAMPLE_RATE * note_s)) / SAMPLE_RATE
        notes = [np.sin(2 * np.pi * hertz * time) for hertz in TUNES[tune]]
        rest = np.zeros(SAMPLE_RATE // 2)
        signal = gain * np.concatenate([rest, *notes, rest])
        noise = np.random.default_rng(4).normal(0.0, hiss, signal.size)
        return np.rint(signal + noise).astype(np.int16)

    return sing
