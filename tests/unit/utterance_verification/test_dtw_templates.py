"""Templates of one person's phrases: bands, warping, and what noise does to both."""

from collections.abc import Callable

import numpy as np
import pytest

from assistant.ports import SAMPLE_RATE
from assistant.speech.utterance_verification.dtw_templates import (
    BANDS,
    Compared,
    pack,
    powers,
    spoken,
    unpack,
)
from assistant.speech.utterance_verification.trimming import Samples

TUNES = ("rising", "falling")
Sing = Callable[..., Samples]


def test_a_tone_falls_into_the_band_around_it() -> None:
    """1 kHz is 1000 mel (O'Shaughnessy 1987); 130 to 6800 Hz is 192 to 2689 mel in 25 steps."""
    time = np.arange(SAMPLE_RATE) / SAMPLE_RATE
    tone = (3000 * np.sin(2 * np.pi * 1000.0 * time)).astype(np.int16)
    rows = powers(tone)
    assert rows.shape == (98, BANDS)
    assert set(rows.argmax(axis=1)) == {round((1000.0 - 192.3) / ((2689.0 - 192.3) / 25)) - 1}


def test_too_little_sound_has_no_rows() -> None:
    """Less than a window of 25 ms."""
    assert powers(np.zeros(300, dtype=np.int16)).shape == (0, BANDS)


def test_only_the_speech_is_kept(sung: Sing) -> None:
    """0.6 s of notes out of 1.6 s."""
    assert len(spoken(sung("rising"))) == pytest.approx(60, abs=4)
    short = sung("rising", 0.02)
    assert len(spoken(short)) == len(powers(short))


@pytest.mark.parametrize("hiss", [5.0, 400.0])
def test_the_same_tune_slower_is_nearer_than_another(hiss: float, sung: Sing) -> None:
    """A quarter slower, at half the loudness, also in noise 17 dB below the notes."""
    templates = {tune: spoken(sung(tune)) for tune in TUNES}
    heard = Compared(sung("rising", 0.25, hiss=hiss, gain=2000.0))
    assert heard.distance(templates["rising"]) < 0.6 * heard.distance(templates["falling"])


def test_the_very_template_is_at_no_distance(sung: Sing) -> None:
    """Beside another tune; the noise is added a second time, which is the little that is left."""
    sound = sung("falling")
    heard = Compared(sound)
    assert heard.distance(spoken(sound)) < 0.1 * heard.distance(spoken(sung("rising")))


def test_packing_keeps_the_powers_to_a_thirtysecond(sung: Sing) -> None:
    """Steps of a sixteenth of a neper, so at most half a step is lost."""
    rows = spoken(sung("rising"))
    assert np.allclose(np.log(unpack(pack(rows))), np.log(rows), rtol=0.0, atol=1 / 32 + 1e-9)


@pytest.mark.parametrize("text", ["%%%", "AAAA"])
def test_a_damaged_template_is_refused(text: str) -> None:
    """Neither base64 nor compressed."""
    with pytest.raises(ValueError, match=r"damaged|base64|[Dd]igits|[Nn]on-"):
        unpack(text)
