"""A sound file as a source of blocks, processed like microphone input.

Only the engines' own format is accepted: 16 bits at 16 kHz, WAV or FLAC. A conversion here would
depend on the converter's version, and a recorded result could not be reproduced exactly; the error
message names a command that converts. Several channels are averaged into one.
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from assistant.errors import DeviceError, InputError
from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE
from assistant.speech.pcm import Samples, bytes_of

LEAD_BLOCKS = 10
"""Noise before the file (0.5 s), from which the speech detector learns the noise floor."""

TAIL_BLOCKS = 20
"""Noise after the file (1 s), so that its last phrase is closed."""

_FORMATS = ("WAV", "WAVEX", "FLAC")
_PIECE = SAMPLE_RATE // 50
_QUIETEST = 0.02
_SHORT = 4 * SAMPLE_RATE
_BELOW_LOUDEST = 10 ** (-40 / 20)
_LEAST_SIGMA = 3.0
_MOST_SIGMA = 300.0


def read_sound(path: Path) -> bytes:
    """Read a whole file as mono 16-bit sound at `SAMPLE_RATE`.

    Raises:
        InputError: the file is missing, empty, not a sound file, or of another format or rate.
        DeviceError: the package soundfile cannot be loaded.
    """
    try:
        import soundfile  # noqa: PLC0415 - loads a system library
    except (ImportError, OSError) as fault:
        raise DeviceError(
            f"Sound files cannot be read ({fault}); run: pip install soundfile"
        ) from fault
    if not path.is_file():
        raise InputError(f"{path}: no such file; name a WAV or FLAC file")
    try:
        about = soundfile.info(str(path))
        _check(path, about.format, about.subtype, about.samplerate, about.frames)
        signal, _rate = soundfile.read(str(path), dtype="int16", always_2d=True)
    except soundfile.LibsndfileError as fault:
        raise InputError(f"{path}: not a sound file ({fault}); name a WAV or FLAC file") from fault
    if not len(signal):
        raise InputError(f"{path}: contains no sound; name a file with a recording")
    return bytes_of(signal.astype(np.float64).mean(axis=1))


def _check(path: Path, kind: str, subtype: str, rate: int, frames: int) -> None:
    if kind not in _FORMATS or subtype != "PCM_16" or rate != SAMPLE_RATE:
        raise InputError(
            f"{path}: is {kind} {subtype} at {rate} Hz, but WAV or FLAC with 16 bits at"
            f" {SAMPLE_RATE} Hz is needed; convert it with: sox {path.name} -b 16 -r {SAMPLE_RATE}"
            f" converted.wav"
        )
    if not frames:
        raise InputError(f"{path}: contains no sound; name a file with a recording")


def blocks_of(pcm: bytes, seed: int = 1) -> Iterator[bytes]:
    """Yield sound as blocks of 50 ms, padded on both sides with noise of its own level.

    Args:
        pcm: mono 16-bit sound.
        seed: seed of the noise generator.
    """
    signal = np.frombuffer(pcm, dtype="<i2").astype(np.int16)
    sigma = _noise_sigma(signal)
    random = np.random.default_rng(seed)

    def noise(count: int) -> npt.NDArray[np.float64]:
        return np.asarray(random.normal(0.0, sigma, count), dtype=np.float64)

    for _ in range(LEAD_BLOCKS):
        yield bytes_of(noise(BLOCK_SAMPLES))
    for start in range(0, signal.size, BLOCK_SAMPLES):
        piece = signal[start : start + BLOCK_SAMPLES].astype(np.float64)
        yield bytes_of(np.concatenate([piece, noise(BLOCK_SAMPLES - piece.size)]))
    for _ in range(TAIL_BLOCKS):
        yield bytes_of(noise(BLOCK_SAMPLES))


def _noise_sigma(signal: Samples) -> float:
    """Estimate the standard deviation of the noise in a recording, within fixed bounds.

    In a long recording the quietest pieces are noise. A short one may be a single phrase without a
    pause, so its noise is assumed to be well below its loudest piece.
    """
    whole = signal[: signal.size // _PIECE * _PIECE].astype(np.float64)
    if not whole.size:
        return _LEAST_SIGMA
    deviations = whole.reshape(-1, _PIECE).std(axis=1)
    noise = np.quantile(deviations, _QUIETEST)
    if signal.size < _SHORT:
        noise = min(noise, deviations.max() * _BELOW_LOUDEST)
    return float(np.clip(noise, _LEAST_SIGMA, _MOST_SIGMA))
