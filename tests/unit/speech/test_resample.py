"""Sound brought to another rate, whole and as a stream."""

import numpy as np
import pytest

from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import BLOCK_BYTES, bytes_of, samples_of
from assistant.speech.resample import BlockResampler, resampled


def tone(rate: int, seconds: float = 2.0) -> bytes:
    """Return 440 Hz."""
    return bytes_of(8000 * np.sin(2 * np.pi * 440 * np.arange(round(rate * seconds)) / rate))


def test_the_right_rate_and_nothing_pass_unchanged() -> None:
    """No resampling where none is needed."""
    assert resampled(b"\1\0\2\0", SAMPLE_RATE) == b"\1\0\2\0"
    assert resampled(b"", 8000) == b""
    assert len(resampled(bytes(3200), SAMPLE_RATE, 48000)) == 9600


@pytest.mark.parametrize("rate", [8000, 22050, 44100, 48000])
def test_a_whole_tone_stays_what_it_is(rate: int) -> None:
    """The same tone made at the wanted rate differs by less than a hundredth."""
    made, wanted = samples_of(resampled(tone(rate), rate)), samples_of(tone(SAMPLE_RATE))
    assert made.size == pytest.approx(wanted.size, abs=1)
    inner = slice(1600, -1600)
    assert np.abs(made[inner].astype(int) - wanted[: made.size][inner]).max() < 80


@pytest.mark.parametrize("rate", [44100, 48000])
def test_a_stream_comes_out_in_whole_blocks_without_a_seam(rate: int) -> None:
    """Blocks of 50 ms at the device's rate; all but the filter's delay comes out, and no jump."""
    stream = BlockResampler(rate)
    sound = tone(rate)
    size = rate // 20 * 2
    blocks = [
        block
        for start in range(0, len(sound), size)
        for block in stream.feed(sound[start : start + size])
    ]
    assert {len(block) for block in blocks} == {BLOCK_BYTES}
    assert 35 <= len(blocks) <= 40
    made = samples_of(b"".join(blocks))[1600:].astype(int)
    # The steepest step of this tone at 16 kHz is amplitude times angle per sample, 1382.
    assert np.abs(np.diff(made)).max() < 1400
