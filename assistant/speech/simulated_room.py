"""A simulated room: the operator's speech goes in, noisy microphone blocks come out.

Nothing waits for real time; each request for a block advances the room by 50 ms.
"""

from collections import deque
from typing import Literal

import numpy as np
import numpy.typing as npt

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE
from assistant.speech.pcm import FULL_SCALE, bytes_of, samples_of

Colour = Literal["white", "pink", "hum"]

_ACTIVE_BELOW_PEAK_DB = 30.0


class NoiseMaker:
    """Endless background noise, reproducible from its seed.

    "white" has equal power in every hertz, "pink" in every octave (ventilation), "hum" is pink
    under a motor's tones at multiples of 50 Hz.
    """

    _TONES: tuple[tuple[float, float], ...] = ((50, 1.0), (100, 0.7), (150, 0.5), (300, 0.25))

    def __init__(self, dbfs: float, colour: Colour = "pink", seed: int = 1) -> None:
        """Configure the noise.

        Args:
            dbfs: root-mean-square level, in dB relative to full scale.
            colour: kind of noise.
            seed: seed of the generator.
        """
        self._gain = FULL_SCALE * 10 ** (dbfs / 20)
        self._colour = colour
        self._random = np.random.default_rng(seed)
        self._loop = self._make_loop() * self._gain
        self._at = 0

    def _make_loop(self) -> npt.NDArray[np.float64]:
        """Make a seamless loop of 30 s of noise with unit power."""
        count = 30 * SAMPLE_RATE
        spectrum = np.fft.rfft(self._random.normal(size=count))
        if self._colour != "white":
            hertz = np.fft.rfftfreq(count, 1 / SAMPLE_RATE)
            spectrum /= np.sqrt(np.maximum(hertz, 20.0))
        signal = np.fft.irfft(spectrum, count)
        signal /= np.sqrt(np.mean(signal**2))
        if self._colour == "hum":
            time = np.arange(count) / SAMPLE_RATE
            signal += sum(a * np.sin(2 * np.pi * f * time) for f, a in self._TONES)
            signal /= np.sqrt(np.mean(signal**2))
        return np.asarray(signal, dtype=np.float64)

    def take(self, count: int) -> npt.NDArray[np.float64]:
        """Return the next `count` samples, in 16-bit units."""
        places = (self._at + np.arange(count)) % self._loop.size
        self._at = int((self._at + count) % self._loop.size)
        return self._loop[places]


class RecordedNoise(NoiseMaker):
    """A looped recording instead of noise."""

    def __init__(self, dbfs: float, recording: bytes) -> None:
        """Configure the noise.

        Args:
            dbfs: root-mean-square level, in dB relative to full scale.
            recording: mono 16-bit at `SAMPLE_RATE`, with some sound in it.
        """
        self._recording = samples_of(recording).astype(np.float64)
        super().__init__(dbfs)

    def _make_loop(self) -> npt.NDArray[np.float64]:
        return np.asarray(self._recording / np.sqrt(np.mean(self._recording**2)))


class SimulatedRoom:
    """Mixes the operator's speech with background noise into blocks of 50 ms."""

    def __init__(
        self,
        *,
        snr_db: float = 25.0,
        speech_dbfs: float = -26.0,
        colour: Colour = "pink",
        seed: int = 1,
        recording: bytes = b"",
    ) -> None:
        """Configure the room.

        Args:
            snr_db: signal-to-noise ratio, in dB; the speech level excludes pauses.
            speech_dbfs: level to which speech is scaled, in dB relative to full scale.
            colour: kind of noise.
            seed: seed of the noise generator.
            recording: recorded room sound (mono 16-bit), used instead of noise.
        """
        self._speech_dbfs = speech_dbfs
        self._noise = NoiseMaker(speech_dbfs - snr_db, colour, seed)
        if recording:
            self._noise = RecordedNoise(speech_dbfs - snr_db, recording)
        self._waiting: deque[npt.NDArray[np.float64]] = deque()
        self.samples = 0
        """Samples delivered so far: the room's clock."""

    @property
    def speaking(self) -> bool:
        """Whether the operator has not finished speaking."""
        return bool(self._waiting)

    def say(self, pcm: bytes, *, after_s: float = 0.0, gain_db: float = 0.0) -> None:
        """Let the operator speak, after any speech already queued.

        Args:
            pcm: mono 16-bit sound at `SAMPLE_RATE`; it is scaled to the room's speech level.
            after_s: pause before it, in seconds.
            gain_db: louder or softer than usual, in dB.
        """
        pause = round(after_s * SAMPLE_RATE)
        if pause > 0:
            self._waiting.append(np.zeros(pause))
        signal = samples_of(pcm).astype(np.float64)
        if signal.size:
            target = FULL_SCALE * 10 ** ((self._speech_dbfs + gain_db) / 20)
            loudness = active_rms(signal)
            self._waiting.append(signal * (target / loudness if loudness else 0.0))

    def hush(self) -> None:
        """Discard speech that the operator has not said yet."""
        self._waiting.clear()

    def next_block(self) -> bytes:
        """Return the next 50 ms of microphone sound."""
        mix = self._noise.take(BLOCK_SAMPLES)
        filled = 0
        while self._waiting and filled < BLOCK_SAMPLES:
            head = self._waiting.popleft()
            part = head[: BLOCK_SAMPLES - filled]
            mix[filled : filled + part.size] += part
            filled += part.size
            if part.size < head.size:
                self._waiting.appendleft(head[part.size :])
        self.samples += BLOCK_SAMPLES
        return bytes_of(mix)


def active_rms(signal: npt.NDArray[np.float64]) -> float:
    """Return the root-mean-square of a signal without its pauses, 0 for silence.

    A pause is a piece of 20 ms more than 30 dB below the loudest one.
    """
    width = SAMPLE_RATE // 50
    whole = signal[: signal.size // width * width]
    if not whole.size:
        return float(np.sqrt(np.mean(signal**2)))
    powers = np.mean(whole.reshape(-1, width) ** 2, axis=1)
    loud = powers[powers >= powers.max() * 10 ** (-_ACTIVE_BELOW_PEAK_DB / 10)]
    return float(np.sqrt(loud.mean()))
