"""Short tones before a prompt: heard, in doubt, the wait is over.

They differ in count and direction, not in pitch alone, so that a hood or a loud fan leaves them
apart. The frequencies lie where a small loudspeaker is loud and speech is not masked by them.
"""

from functools import cache
from typing import Final

import numpy as np

from assistant.ports import SAMPLE_RATE, Tone
from assistant.speech.pcm import bytes_of

_NOTES: Final[dict[Tone, tuple[tuple[float, float], ...]]] = {
    "heard": ((880.0, 0.07),),
    "doubt": ((660.0, 0.09), (440.0, 0.12)),
    "wait-over": ((1320.0, 0.06), (1320.0, 0.06), (1320.0, 0.06)),
}
"""Frequency in Hz and length in seconds of each note."""

_BETWEEN_S: Final = 0.04
_LEVEL: Final = 6000.0
"""Peak, in steps of the 16-bit scale: about as loud as the voice."""
_EDGE_S: Final = 0.008
"""Rise and fall, so that a tone does not click."""


@cache
def sound_of(tone: Tone) -> bytes:
    """Return the tone as mono 16-bit sound at `SAMPLE_RATE`, with a short silence after it."""
    silence = np.zeros(round(_BETWEEN_S * SAMPLE_RATE))
    parts = []
    for frequency, seconds in _NOTES[tone]:
        time = np.arange(round(seconds * SAMPLE_RATE)) / SAMPLE_RATE
        edge = np.minimum(1.0, np.minimum(time, time[::-1]) / _EDGE_S)
        parts += [_LEVEL * edge * np.sin(2 * np.pi * frequency * time), silence]
    return bytes_of(np.concatenate(parts))
