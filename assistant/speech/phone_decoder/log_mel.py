"""The front end: the log-mel spectrogram of Whisper, computed with numpy alone.

A Hann window of 25 ms every 10 ms, 80 triangular bands on the mel scale of Slaney's Auditory
Toolbox (1998), each normalised to equal area; decimal logarithms cut off 8 below the loudest value
and scaled to about -1 to 1 (Radford et al. 2022, section 2.2).
"""

from functools import cache
from typing import Final

import numpy as np
import numpy.typing as npt

from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import FULL_SCALE, Samples

HOP: Final = SAMPLE_RATE // 100
"""Samples from one frame to the next (10 ms)."""
BANDS: Final = 80
_WINDOW: Final = SAMPLE_RATE // 40
_HALF: Final = _WINDOW // 2
_LINEAR_HZ: Final = 200.0 / 3.0
_BREAK_HZ: Final = 1000.0
_BREAK_MEL: Final = _BREAK_HZ / _LINEAR_HZ
_LOG_STEP: Final = np.log(6.4) / 27.0
_FLOOR: Final = 1e-10
_RANGE: Final = 8.0

Spectrogram = npt.NDArray[np.float32]
"""Shape (bands, frames), 100 frames a second."""


def mel_of(hertz: float) -> float:
    """Return a frequency on the mel scale: linear below 1 kHz, logarithmic above (Slaney)."""
    if hertz < _BREAK_HZ:
        return hertz / _LINEAR_HZ
    return float(_BREAK_MEL + np.log(hertz / _BREAK_HZ) / _LOG_STEP)


def hertz_of(mel: float) -> float:
    """Return the frequency of a place on the mel scale; the inverse of `mel_of`."""
    if mel < _BREAK_MEL:
        return mel * _LINEAR_HZ
    return float(_BREAK_HZ * np.exp((mel - _BREAK_MEL) * _LOG_STEP))


@cache
def filters() -> npt.NDArray[np.float32]:
    """Return the weights of the bands, shape (80, 201), over the bins of the spectrum."""
    top = mel_of(SAMPLE_RATE / 2)
    edges = np.array([hertz_of(mel) for mel in np.linspace(0.0, top, BANDS + 2)])
    bins = np.fft.rfftfreq(_WINDOW, 1 / SAMPLE_RATE)
    rising = (bins - edges[:-2, None]) / np.diff(edges)[:-1, None]
    falling = (edges[2:, None] - bins) / np.diff(edges)[1:, None]
    triangles = np.clip(np.minimum(rising, falling), 0.0, None)
    return (triangles * (2.0 / (edges[2:] - edges[:-2]))[:, None]).astype(np.float32)


@cache
def _window() -> npt.NDArray[np.float32]:
    return (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(_WINDOW) / _WINDOW)).astype(np.float32)


def log_energies(padded: npt.NDArray[np.float32]) -> Spectrogram:
    """Return decimal logarithms of the band energies, one frame for each window that fits.

    Args:
        padded: samples as fractions of full scale, with half a window more on either side.
    """
    frames = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW)[::HOP]
    power = np.abs(np.fft.rfft(frames * _window())).astype(np.float32) ** 2
    found: Spectrogram = np.log10(np.maximum(filters() @ power.T, _FLOOR))
    return found


def normalised(energies: Spectrogram) -> Spectrogram:
    """Cut off what lies 8 decades below the loudest value and scale, as the network expects."""
    cut: Spectrogram = (np.maximum(energies, energies.max() - _RANGE) + 4.0) / 4.0
    return cut


def log_mel(samples: Samples) -> Spectrogram:
    """Return the spectrogram of an utterance, shape (80, frames) with an even number of frames.

    Args:
        samples: 16-bit mono at `SAMPLE_RATE`, at least 25 ms.

    Raises:
        ValueError: there are fewer samples than one window.
    """
    if samples.size < _WINDOW:
        raise ValueError(f"{samples.size} samples are less than one window of {_WINDOW}")
    count = samples.size // (2 * HOP) * 2
    signal = np.pad(samples.astype(np.float32) / FULL_SCALE, _HALF, mode="reflect")
    return normalised(log_energies(signal)[:, :count])


class SpectrogramStream:
    """The same spectrogram of a growing utterance; every frame is computed once.

    The last frame of an excerpt needs half a window of sound behind it, which `log_mel` mirrors and
    the stream has not heard yet: up to two frames at the end are therefore still missing here.
    """

    def __init__(self) -> None:
        """Begin with no sound."""
        self._rest = np.zeros(0, dtype=np.float32)
        self._parts: list[Spectrogram] = []
        self._begun = False

    def feed(self, samples: Samples) -> None:
        """Take the samples that follow; the first piece must be longer than half a window."""
        signal = samples.astype(np.float32) / FULL_SCALE
        if not self._begun:
            signal = np.concatenate([signal[_HALF:0:-1], signal])
            self._begun = True
        self._rest = np.concatenate([self._rest, signal])
        count = (self._rest.size - _WINDOW) // HOP + 1
        if count > 0:
            self._parts.append(log_energies(self._rest[: (count - 1) * HOP + _WINDOW]))
            self._rest = self._rest[count * HOP :]

    def spectrogram(self) -> Spectrogram:
        """Return what is known so far, shape (80, frames) with an even number of frames."""
        whole = np.concatenate([np.empty((BANDS, 0), np.float32), *self._parts], axis=1)
        even = whole[:, : whole.shape[1] // 2 * 2]
        return normalised(even) if even.size else even
