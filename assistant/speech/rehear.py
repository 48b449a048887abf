"""Hearing a stored clip once more with the second engine alone.

The engine is made to score every phrase that could have been understood; the one with the best mean
score for each of its tokens is what it hears.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from assistant.speech.acceptance import SecondOpinion
from assistant.speech.acceptance.sound import dithered, samples_of, trimmed

_FRAME: Final = 160
_LONGEST_FRAMES: Final = 800


@dataclass(frozen=True, slots=True)
class Reheard:
    """What the second engine makes of a clip."""

    best: str
    """The phrase it finds likeliest."""
    ahead: float
    """How far that is ahead of the phrase on record, in mean log probability of a token; 0 where
    both are the same."""


class SecondHearing(SecondOpinion):
    """The second engine as a recogniser of its own."""

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
        scores: dict[str, float] = {}
        for phrase in dict.fromkeys((recorded, *phrases)):
            tokens = self._forced(encoded, self._text_tokens(phrase), frames)
            scores[phrase] = sum(tokens) / len(tokens)
        best = max(scores, key=scores.__getitem__)
        return Reheard(best, scores[best] - scores[recorded])
