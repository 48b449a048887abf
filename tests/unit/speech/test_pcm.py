"""Levels, dither and conversion of 16-bit sound."""

import math

import numpy as np
import pytest

from assistant.speech.pcm import (
    SILENT_DBFS,
    bytes_of,
    dithered,
    level_dbfs,
    samples_of,
)


def test_bytes_and_samples_convert_both_ways() -> None:
    """Little-endian 16-bit, whole samples only."""
    assert samples_of(b"\x01\x00\xff\xff\x00\x80").tolist() == [1, -1, -32768]
    assert bytes_of(samples_of(b"\x01\x00\xff\xff")) == b"\x01\x00\xff\xff"
    with pytest.raises(ValueError, match="half a sample"):
        samples_of(b"\x01\x00\xff")


def test_conversion_rounds_and_clips() -> None:
    """Values between steps are rounded, values outside the scale are clipped."""
    signal = np.array([0.4, 0.6, 40000.0, -40000.0])
    assert samples_of(bytes_of(signal)).tolist() == [0, 1, 32767, -32768]


def test_the_level_of_known_signals() -> None:
    """A full-scale square wave is 0 dB, a sine 3.01 dB less, a tenth of it 20 dB less.

    A sine's root mean square is its amplitude divided by the square root of two.
    """
    square = bytes_of(np.tile([32767.0, -32768.0], 800))
    assert level_dbfs(square) == pytest.approx(0.0, abs=1e-3)
    sine = 32767 * np.sin(2 * np.pi * np.arange(1600) / 16)
    assert level_dbfs(bytes_of(sine)) == pytest.approx(-10 * math.log10(2), abs=0.01)
    assert level_dbfs(bytes_of(sine / 10)) == pytest.approx(-10 * math.log10(2) - 20, abs=0.01)


def test_silence_and_nothing_have_the_lowest_level() -> None:
    """There is no minus infinity on a display."""
    assert level_dbfs(bytes(1600)) == SILENT_DBFS
    assert level_dbfs(b"") == SILENT_DBFS


def test_dither_is_faint_and_the_same_each_time() -> None:
    """Standard deviation 3 steps, no run of zeros left, and reproducible by its seed."""
    silence = bytes(32000)
    once = samples_of(dithered(silence))
    assert dithered(silence) == bytes_of(once)
    assert dithered(silence, seed=2) != bytes_of(once)
    assert float(once.std()) == pytest.approx(3.0, abs=0.1)
    assert np.count_nonzero(once) > 0.8 * once.size
