"""How far a frame of sound is above the room's steady noise, in twelve frequency bands.

Total energy is a poor measure: a fan's rumble dominates it. Each band is therefore compared with
its own floor, the level it falls to from time to time, and the excess is averaged over the bands.
In steady noise of any colour and level the excess stays near 1.2 dB (standard deviation 0.3,
largest seen 2.1); for speech 10 dB above pink noise its median is 6 dB.
"""

import itertools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE
from assistant.speech.pcm import FULL_SCALE, samples_of

FRAME_SAMPLES = SAMPLE_RATE // 100
"""Samples from one frame to the next (10 ms)."""

FRAMES_PER_BLOCK = BLOCK_SAMPLES // FRAME_SAMPLES

_WINDOW = 2 * FRAME_SAMPLES
_FFT = 512
_EDGES_HZ = (150, 300, 450, 650, 900, 1200, 1600, 2100, 2700, 3500, 4500, 5800, 7500)
_AVERAGED_FRAMES = 4
_HISTORY_FRAMES = 300
_FLOOR_QUANTILE = 0.15
_LARGEST_EXCESS_DB = 20.0


@dataclass(frozen=True, slots=True)
class Excess:
    """How one block compares with the room's noise."""

    frames: tuple[float, ...]
    """Mean excess over the bands' floors, in dB, one value per 10 ms."""
    frame_levels: tuple[float, ...]
    """Level between 150 and 7500 Hz, in dB relative to full scale, one value per 10 ms."""
    level_dbfs: float
    """Level of the block, in dB relative to full scale."""
    floor_dbfs: float
    """Level of the room's noise, in dB relative to full scale."""


class NoiseFloor:
    """Tracks the floor of every band over the last 3 s."""

    def __init__(self) -> None:
        """Start without a noise estimate."""
        hertz = np.fft.rfftfreq(_FFT, 1 / SAMPLE_RATE)
        inside = [(hertz >= low) & (hertz < high) for low, high in itertools.pairwise(_EDGES_HZ)]
        self._mean_of_band = np.stack([band / band.sum() for band in inside], axis=1)
        self._window = np.hanning(_WINDOW)
        # By Parseval's theorem, the mean square within the bands from their mean powers.
        widths = np.array([band.sum() for band in inside], dtype=np.float64)
        self._square_of_bands = widths * 2 / (_FFT * float(np.sum(self._window**2)))
        self._tail = np.zeros(_WINDOW - FRAME_SAMPLES)
        self._recent: list[npt.NDArray[np.float64]] = []
        self._history = np.empty((0, len(inside)))
        self._levels: list[float] = []

    @property
    def seconds(self) -> float:
        """Duration behind the noise estimate, at most 3 s."""
        return len(self._history) * FRAME_SAMPLES / SAMPLE_RATE

    def feed(self, block: bytes) -> Excess:
        """Measure one block of 50 ms against the floor, then update the floor."""
        signal = samples_of(block).astype(np.float64)
        stretch = np.concatenate([self._tail, signal])
        self._tail = stretch[-self._tail.size :]
        frames = np.lib.stride_tricks.sliding_window_view(stretch, _WINDOW)[::FRAME_SAMPLES]
        power = np.abs(np.fft.rfft(frames * self._window, _FFT)) ** 2
        # Adding one 16-bit step keeps the logarithm finite in digital silence.
        bands = power @ self._mean_of_band + 1.0
        levels = np.stack([self._averaged(frame) for frame in bands])
        self._history = np.concatenate([self._history, levels])[-_HISTORY_FRAMES:]
        # Faster than an interpolated quantile, and just as good.
        rank = int(len(self._history) * _FLOOR_QUANTILE)
        floor = np.partition(self._history, rank, axis=0)[rank]
        excess = np.clip(levels - floor, 0.0, _LARGEST_EXCESS_DB).mean(axis=1)
        squares = 10 ** (levels / 10) @ self._square_of_bands / FULL_SCALE**2
        return self._summary(signal, excess, 10.0 * np.log10(squares))

    def _averaged(self, frame: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        self._recent = [*self._recent, frame][-_AVERAGED_FRAMES:]
        return np.asarray(10.0 * np.log10(np.mean(self._recent, axis=0)), dtype=np.float64)

    def _summary(
        self,
        signal: npt.NDArray[np.float64],
        excess: npt.NDArray[np.float64],
        levels: npt.NDArray[np.float64],
    ) -> Excess:
        power = float(np.mean(signal**2)) / FULL_SCALE**2
        level = float(10.0 * np.log10(max(power, 1e-12)))
        self._levels = [*self._levels, level][-_HISTORY_FRAMES // FRAMES_PER_BLOCK :]
        floor = float(np.quantile(self._levels, _FLOOR_QUANTILE))
        return Excess(
            frames=tuple(float(value) for value in excess),
            frame_levels=tuple(float(value) for value in levels),
            level_dbfs=level,
            floor_dbfs=floor,
        )
