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
    areas = 2.0 / (edges[2:] - edges[:-2])
    found: npt.NDArray[np.float32] = (triangles * areas[:, None]).astype(np.float32)
    return found


@cache
def _window() -> npt.NDArray[np.float32]:
    return (0.5 - 0.5 * np.cos(2 * np.pi * np.arange(_WINDOW) / _WINDOW)).astype(np.float32)


def log_energies(padded: npt.NDArray[np.float32]) -> Spectrogram:
    """Return decimal logarithms of the band energies, one frame for each window that fits.

    Args:
        padded: samples as fractions of full scale, with half a window more on either side.
    """
    frames = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW)[::HOP]
    spectrum = np.fft.rfft(frames * _window())
    bands = _in_bands((spectrum.real**2 + spectrum.imag**2).astype(np.float32))
    found: Spectrogram = np.log10(np.maximum(bands, _FLOOR)).T
    return found


@cache
def _slopes() -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], npt.NDArray[np.float32]]:
    """Return where each band begins in the two rows behind: its bins, and their weights."""
    inside = [np.flatnonzero(row) for row in filters()]
    sizes = [len(bins) for bins in inside]
    starts = np.cumsum([0, *sizes[:-1]])
    weights = np.concatenate([row[bins] for row, bins in zip(filters(), inside, strict=True)])
    return starts, np.concatenate(inside), weights


def _in_bands(power: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Sum the power of each frame in bands, shape (frames, 80).

    A product with `filters` does the same, but the library of products shares so small a one
    between threads that then wait for each other.
    """
    starts, bins, weights = _slopes()
    found: npt.NDArray[np.float32] = np.add.reduceat(power[:, bins] * weights, starts, axis=1)
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
