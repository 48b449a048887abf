"""The front end against its definition, written out the slow way."""

import numpy as np
import pytest

from assistant.speech.phone_decoder.log_mel import BANDS, filters, hertz_of, log_mel, mel_of


def test_agrees_with_the_definition() -> None:
    """Agrees with the definition."""
    samples = np.random.default_rng(3).normal(0, 2000, 8111).astype(np.int16)
    signal = np.pad(samples / 32768.0, 200, mode="reflect")
    window = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(400) / 400)
    rows = []
    for frame in range(50):
        power = np.abs(np.fft.rfft(signal[frame * 160 : frame * 160 + 400] * window)) ** 2
        rows.append(np.log10(np.maximum(filters().astype(float) @ power, 1e-10)))
    slow = np.array(rows).T
    slow = (np.maximum(slow, slow.max() - 8.0) + 4.0) / 4.0
    assert log_mel(samples).shape == (BANDS, 50)
    np.testing.assert_allclose(log_mel(samples), slow, atol=2e-4)


def test_every_band_has_an_area_of_one() -> None:
    """Every band has an area of one."""
    fine = np.linspace(0, 8000, 200_001)
    edges = [hertz_of(mel) for mel in np.linspace(0, mel_of(8000.0), BANDS + 2)]
    for low, top, high in zip(edges, edges[1:], edges[2:], strict=False):
        triangle = np.clip(
            np.minimum((fine - low) / (top - low), (high - fine) / (high - top)), 0, 1
        )
        assert np.trapezoid(triangle * 2 / (high - low), fine) == pytest.approx(1.0, abs=1e-4)


@pytest.mark.parametrize("hertz", [0.0, 440.0, 1000.0, 4321.0, 8000.0])
def test_the_scale_has_an_inverse(hertz: float) -> None:
    """The scale has an inverse."""
    assert hertz_of(mel_of(hertz)) == pytest.approx(hertz)


def test_too_little_sound_is_refused() -> None:
    """Too little sound is refused."""
    with pytest.raises(ValueError, match="less than one window"):
        log_mel(np.zeros(399, dtype=np.int16))
