"""How one person says each phrase: coarse spectra, and how far an utterance is from them.

The noise in the utterance is added to the template before the two are compared, so that both lie
in the same noise; loudness and the colour of the microphone drop out with the means.
"""

import base64
import zlib
from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt

from assistant.ports import SAMPLE_RATE
from assistant.speech.utterance_verification.trimming import Samples, speech_frames

BANDS: Final = 24
"""Bands of equal width in mel, from 130 Hz to 6.8 kHz."""
_WINDOW: Final = SAMPLE_RATE // 40
_HOP: Final = SAMPLE_RATE // 100
_BINS: Final = 512
_LOW_HZ, _HIGH_HZ = 130.0, 6800.0
_CEPSTRA: Final = 13
_EVERY: Final = 2
"""Every second frame is compared, 20 ms apart."""
_STEPS_PER_NEPER: Final = 16.0
_SHORTEST: Final = 15
"""Frames of speech under which the whole utterance is taken instead."""

Powers = npt.NDArray[np.float64]
"""Power in each band, one row for 10 ms."""


@cache
def _filters() -> Powers:
    """Return the triangular bands over the bins of the spectrum."""

    def mel(hertz: float) -> float:
        return 2595.0 * float(np.log10(1.0 + hertz / 700.0))

    edges = 700.0 * (10.0 ** (np.linspace(mel(_LOW_HZ), mel(_HIGH_HZ), BANDS + 2) / 2595.0) - 1.0)
    hertz = np.fft.rfftfreq(_BINS, 1.0 / SAMPLE_RATE)
    rising = (hertz - edges[:-2, None]) / (edges[1:-1] - edges[:-2])[:, None]
    falling = (edges[2:, None] - hertz) / (edges[2:] - edges[1:-1])[:, None]
    bands: Powers = np.clip(np.minimum(rising, falling), 0.0, None)
    return bands


def powers(samples: Samples) -> Powers:
    """Return the power in each band for every 10 ms; no row for less than one window."""
    if samples.size < _WINDOW + 1:
        return np.empty((0, BANDS))
    sound = samples.astype(np.float64)
    sound = np.append(sound[0], sound[1:] - 0.97 * sound[:-1])
    frames = np.lib.stride_tricks.sliding_window_view(sound, _WINDOW)[::_HOP]
    spectrum = np.abs(np.fft.rfft(frames * np.hamming(_WINDOW), _BINS)) ** 2
    found: Powers = spectrum @ _filters().T + 1.0
    return found


def spoken(samples: Samples) -> Powers:
    """Return the rows of the speech in an utterance."""
    first, last = speech_frames(samples)
    rows = powers(samples)
    inner = rows[first:last]
    return inner if len(inner) >= _SHORTEST else rows


def noise_in(whole: Powers) -> npt.NDArray[np.float64]:
    """Return the mean of the quietest tenth of the rows."""
    quiet = np.argsort(whole.sum(axis=1))[: max(len(whole) // 10, 3)]
    mean: npt.NDArray[np.float64] = whole[quiet].mean(axis=0)
    return mean


def _level(rows: Powers) -> float:
    return float(np.percentile(rows.sum(axis=1), 80))


def _cepstra(rows: Powers) -> Powers:
    """Return cepstra and their slopes without the mean and without the loudness."""
    order = np.outer(np.arange(1, _CEPSTRA), np.arange(BANDS) + 0.5)
    cosines = np.cos(np.pi * order / BANDS) * np.sqrt(2.0 / BANDS)
    found = (np.log(rows) @ cosines.T)[::_EVERY]
    found = found - found.mean(axis=0)
    both: Powers = np.hstack([found, 2.0 * np.gradient(found, axis=0)])
    return both


def _warped(first: Powers, second: Powers) -> float:
    """Return the distance along the best way through both, per step (Sakoe and Chiba 1978)."""
    apart = np.sqrt(((first[:, None] - second[None]) ** 2).sum(axis=-1))
    above = [np.inf] * (len(second) + 1)
    above[0] = 0.0
    for costs in apart.tolist():
        row = [np.inf]
        for column, cost in enumerate(costs):
            best = min(above[column + 1] + cost, above[column] + 2.0 * cost, row[-1] + cost)
            row.append(best)
        above = row
    return float(above[-1]) / (len(first) + len(second))


class Compared:
    """One utterance, ready to be compared with templates."""

    def __init__(self, samples: Samples) -> None:
        """Take an utterance as it was cut out, of 50 ms or more."""
        self._noise = noise_in(powers(samples))
        rows = spoken(samples)
        self._own = _cepstra(rows)
        self._loud = max(_level(rows) - float(self._noise.sum()), 1.0)

    def distance(self, template: Powers) -> float:
        """Return how far the utterance is from a template laid into the same noise."""
        scale = self._loud / _level(template)
        return _warped(self._own, _cepstra(template * scale + self._noise))


def pack(rows: Powers) -> str:
    """Return a template as text: logarithms in steps of a sixteenth, compressed."""
    steps = np.clip(np.rint(np.log(rows) * _STEPS_PER_NEPER), 0, 65535).astype("<u2")
    return base64.b64encode(zlib.compress(steps.tobytes(), 9)).decode("ascii")


def unpack(text: str) -> Powers:
    """Return the template that `pack` wrote.

    Raises:
        ValueError: the text is damaged.
    """
    try:
        data = zlib.decompress(base64.b64decode(text, validate=True))
    except zlib.error as fault:
        raise ValueError(f"a template is damaged: {fault}") from None
    steps = np.frombuffer(data, dtype="<u2").reshape(-1, BANDS)
    found: Powers = np.exp(steps / _STEPS_PER_NEPER)
    return found
