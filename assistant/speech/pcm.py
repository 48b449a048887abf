"""Arithmetic on mono signed 16-bit sound: levels, dither, conversion to and from numpy."""

import math

import numpy as np
import numpy.typing as npt

from assistant.ports import BLOCK_SAMPLES

Samples = npt.NDArray[np.int16]
"""One-dimensional array of 16-bit samples."""

BYTES_PER_SAMPLE = 2
BLOCK_BYTES = BLOCK_SAMPLES * BYTES_PER_SAMPLE
"""Bytes in one block of 50 ms."""

FULL_SCALE = 32768.0
SILENT_DBFS = -120.0
"""Level reported for exact zeros, in dB relative to full scale."""


def samples_of(pcm: bytes) -> Samples:
    """View bytes (little-endian 16-bit) as samples.

    Raises:
        ValueError: an odd number of bytes.
    """
    if len(pcm) % BYTES_PER_SAMPLE:
        raise ValueError(f"{len(pcm)} bytes hold half a sample")
    return np.frombuffer(pcm, dtype="<i2").astype(np.int16, copy=False)


def bytes_of(signal: npt.NDArray[np.floating] | Samples) -> bytes:
    """Round and clip samples (in 16-bit units) to bytes."""
    return np.clip(np.rint(signal), -32768, 32767).astype("<i2").tobytes()


def level_dbfs(pcm: bytes) -> float:
    """Return the root-mean-square level in dB relative to full scale; `SILENT_DBFS` for zeros."""
    signal = samples_of(pcm).astype(np.float64)
    power = float(np.mean(signal**2)) if signal.size else 0.0
    if power <= 0.0:
        return SILENT_DBFS
    return max(SILENT_DBFS, 10.0 * math.log10(power / FULL_SCALE**2))


def dithered(pcm: bytes, sigma: float = 3.0, seed: int = 1) -> bytes:
    """Add faint Gaussian noise, the same for the same length and seed.

    Runs of exact zeros upset the front ends of speech engines; noise of a few steps is far below
    any speech.

    Args:
        pcm: mono 16-bit sound.
        sigma: standard deviation in steps of the 16-bit scale.
        seed: seed of the generator, so that a result can be reproduced.
    """
    signal = samples_of(pcm)
    noise = np.random.default_rng(seed).normal(0.0, sigma, signal.size)
    return bytes_of(signal.astype(np.float64) + noise)
