"""The samples of one utterance, made fit for scoring: cut to the speech and dithered."""

from typing import Final

import numpy as np
import numpy.typing as npt

from assistant.ports import SAMPLE_RATE

Samples = npt.NDArray[np.int16]
"""Mono samples at `SAMPLE_RATE`."""

_FRAME: Final = SAMPLE_RATE // 100
_LEAD_FRAMES: Final = 20
_TAIL_FRAMES: Final = 25
_OVER_FLOOR_DB: Final = 6.0
_OVER_FLOOR_SHARE: Final = 0.6
"""Of the way from the quiet to the loud frames; keeps other people's talk out of the cut."""
_SMOOTH: Final = 5
"""Frames over which a level is a median; a click is not speech."""
_DITHER: Final = 3.0
"""Standard deviation of the dither, in steps of the sample; digital silence upsets the engine."""


def samples_of(pcm: bytes) -> Samples:
    """Return the samples in a buffer of 16-bit little-endian audio; an odd last byte is dropped."""
    return np.frombuffer(pcm[: len(pcm) // 2 * 2], dtype="<i2").astype(np.int16)


def levels(samples: Samples) -> npt.NDArray[np.float64]:
    """Return the level of each whole 10 ms frame, in dB over one step of the sample."""
    count = len(samples) // _FRAME
    frames = samples[: count * _FRAME].astype(np.float64).reshape(count, _FRAME)
    power: npt.NDArray[np.float64] = (frames * frames).mean(axis=1)
    decibels: npt.NDArray[np.float64] = 10.0 * np.log10(power + 1.0)
    return decibels


def spread(samples: Samples) -> float:
    """Return loud frames over quiet frames (90th over 10th percentile), in dB."""
    frames = levels(samples)
    if frames.size == 0:
        return 0.0
    low, high = np.percentile(frames, [10, 90])
    return float(high - low)


def speech_frames(samples: Samples) -> tuple[int, int]:
    """Return the first 10 ms frame of the speech and the one after its last.

    Speech is what reaches 0.6 of the way, in dB, from the quiet frames (10th percentile) to the
    loud ones (95th), and 6 dB over the quiet. A clip without contrast is speech as a whole.
    """
    frames = levels(samples)
    if frames.size < _SMOOTH:
        return 0, frames.size
    low, high = np.percentile(frames, [10, 95])
    over = max(_OVER_FLOOR_DB, _OVER_FLOOR_SHARE * float(high - low))
    padded = np.pad(frames, _SMOOTH // 2, mode="edge")
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(padded, _SMOOTH), axis=1)
    loud = np.flatnonzero(smooth > low + over)
    if loud.size == 0:
        return 0, frames.size
    return int(loud[0]), int(loud[-1]) + 1


def trimmed(samples: Samples) -> Samples:
    """Cut what lies before and after the speech down to 200 and 250 ms."""
    first, last = speech_frames(samples)
    if (first, last) == (0, len(samples) // _FRAME):
        return samples
    return samples[max(first - _LEAD_FRAMES, 0) * _FRAME : (last + _TAIL_FRAMES) * _FRAME]


def dithered(samples: Samples) -> Samples:
    """Add faint noise that is the same for the same samples, so that a replay scores alike."""
    generator = np.random.default_rng(len(samples))
    noisy = samples + np.rint(generator.normal(0.0, _DITHER, len(samples)))
    return np.clip(noisy, -32768, 32767).astype(np.int16)
