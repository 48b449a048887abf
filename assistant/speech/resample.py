"""Sample-rate conversion, for voices and devices with a fixed rate."""

from typing import Any

import numpy as np

from assistant.errors import DeviceError
from assistant.ports import SAMPLE_RATE
from assistant.speech.audio_events import SoundBlock
from assistant.speech.pcm import BLOCK_BYTES, bytes_of, samples_of


def _library() -> Any:  # noqa: ANN401 - untyped library
    try:
        import soxr  # noqa: PLC0415 - imported only where rates differ
    except ImportError as fault:
        raise DeviceError(
            f"The sample rate cannot be converted ({fault}); run: pip install soxr"
        ) from fault
    return soxr


def resampled(pcm: bytes, rate: int, wanted: int = SAMPLE_RATE) -> bytes:
    """Convert a whole piece of mono 16-bit sound to another sample rate.

    Args:
        pcm: the sound.
        rate: sample rate of the input, Hz.
        wanted: sample rate of the result, Hz.

    Raises:
        DeviceError: the package soxr is missing.
    """
    if rate == wanted or not pcm:
        return pcm
    signal = samples_of(pcm).astype(np.float32)
    return bytes_of(_library().resample(signal, rate, wanted))


class BlockResampler:
    """Converts a stream of sound to `SAMPLE_RATE`, in blocks of 50 ms."""

    def __init__(self, rate: int) -> None:
        """Set the sample rate of the input.

        Raises:
            DeviceError: the package soxr is missing.
        """
        self.rate = rate
        self._stream = _library().ResampleStream(rate, SAMPLE_RATE, 1, dtype="float32")
        self._rest = b""

    def feed(self, pcm: bytes) -> list[bytes]:
        """Process a piece of the stream and return the blocks that are complete."""
        piece = self._stream.resample_chunk(samples_of(pcm).astype(np.float32))
        sound = self._rest + bytes_of(piece)
        whole = len(sound) // BLOCK_BYTES * BLOCK_BYTES
        self._rest = sound[whole:]
        return [sound[start : start + BLOCK_BYTES] for start in range(0, whole, BLOCK_BYTES)]


class ProgramRate:
    """Converts blocks from a device of any sample rate to the program's rate."""

    def __init__(self) -> None:
        """Create no resampler until a block needs one."""
        self._resampler: BlockResampler | None = None

    def blocks(self, item: SoundBlock) -> list[bytes]:
        """Return the sound of one block at `SAMPLE_RATE`, in blocks of 50 ms.

        Raises:
            DeviceError: the package soxr is missing.
        """
        if item.rate == SAMPLE_RATE:
            return [item.pcm]
        if self._resampler is None or self._resampler.rate != item.rate:
            self._resampler = BlockResampler(item.rate)
        return self._resampler.feed(item.pcm)
