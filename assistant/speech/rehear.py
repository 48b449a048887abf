"""Hearing a stored clip once more with the second engine alone.

The engine is made to score every phrase that could have been understood: how much likelier the
words are with this sound than with silence. Without the silence, everyday words would win over the
words of the trade (34 of 40 rehearsed confirmations alike, 39 of 40 with it).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from assistant.speech.utterance_verification import SecondOpinion
from assistant.speech.utterance_verification.trimming import dithered, samples_of, trimmed

_FRAME: Final = 160
_LONGEST_FRAMES: Final = 800
_SILENCE_FRAMES: Final = 100


@dataclass(frozen=True, slots=True)
class Reheard:
    """What the second engine makes of a clip."""

    best: str
    """The phrase it finds likeliest."""
    ahead: float
    """How far that is ahead of the phrase on record, in natural logarithms of likelihood; 0 where
    both are the same."""


class SecondHearing(SecondOpinion):
    """The second engine as a recogniser of its own."""

    def __init__(self, folder: Path) -> None:
        """Load the model; arguments and errors as for `SecondOpinion`."""
        super().__init__(folder)
        self._usual: dict[str, float] = {}
        self._silence = self._encode(dithered(np.zeros(_SILENCE_FRAMES * _FRAME, dtype=np.int16)))

    def rehear(self, pcm: bytes, recorded: str, phrases: Sequence[str]) -> Reheard:
        """Hear one utterance again.

        Args:
            pcm: of the utterance, mono 16-bit at `SAMPLE_RATE`.
            recorded: the phrase that was understood.
            phrases: all that could have been understood; `recorded` need not be among them.
        """
        samples = dithered(trimmed(samples_of(pcm)))
        encoded = self._encode(samples)
        frames = min(samples.size // _FRAME + 1, _LONGEST_FRAMES)
        scores = {
            phrase: self._likelihood(encoded, phrase, frames) - self._in_silence(phrase)
            for phrase in dict.fromkeys((recorded, *phrases))
        }
        best = max(scores, key=scores.__getitem__)
        return Reheard(best, scores[best] - scores[recorded])

    def _likelihood(self, encoded: Any, phrase: str, frames: int) -> float:  # noqa: ANN401 - the engine has no types
        return sum(self._forced(encoded, self._text_tokens(phrase), frames))

    def _in_silence(self, phrase: str) -> float:
        """Return how likely the engine finds a phrase anyhow."""
        kept = self._usual.get(phrase)
        if kept is None:
            kept = self._usual[phrase] = self._likelihood(self._silence, phrase, _SILENCE_FRAMES)
        return kept
