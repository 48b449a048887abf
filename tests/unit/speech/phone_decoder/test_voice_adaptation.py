"""A voice's biases: found again where they were put in, and bound to their model."""

from pathlib import Path

import numpy as np
import pytest

from assistant.errors import InputError
from assistant.grammar.phones import PHONES
from assistant.speech.phone_decoder.phone_model import SYMBOLS
from assistant.speech.phone_decoder.voice_adaptation import (
    VoiceProfile,
    adapted,
    fit_profile,
    read_profile,
)

from .conftest import Spell

WAY = (("AA", "B", "IY", "K"), ("S", "IH", "T"))
PHONES_SAID = [phone for word in WAY for phone in (*word, "-")]


def test_a_bias_of_the_microphone_is_taken_out(spell: Spell) -> None:
    """A bias of the microphone is taken out."""
    tilt = np.zeros(len(SYMBOLS))
    tilt[PHONES.index("IH") + 1] = -2.5
    tilt[PHONES.index("IY") + 1] = 1.0
    heard = adapted(spell(PHONES_SAID, sure=0.8), tilt)
    profile = fit_profile("Ada", "f" * 64, [([WAY], heard)] * 60)
    better = adapted(heard, np.array(profile.bias))
    place = np.flatnonzero(spell(PHONES_SAID).argmax(axis=1) == PHONES.index("IH") + 1)
    ih = PHONES.index("IH") + 1
    assert better[place, ih].mean() > heard[place, ih].mean() + 0.3
    assert profile.bias[ih] > 0.5
    assert np.exp(better).sum(axis=1) == pytest.approx(np.ones(len(better)))


def test_what_was_not_the_phrase_is_left_out(spell: Spell) -> None:
    """What was not the phrase is left out."""
    other = spell(["M", "UW", "N", "L", "AY", "-", "G", "OW", "Z"])
    with pytest.raises(InputError, match="Only 0 sounds"):
        fit_profile("Ada", "f" * 64, [([WAY], other), ([WAY], other[:0]), ([WAY], other[:3])])


def profile() -> VoiceProfile:
    """Profile."""
    return VoiceProfile(name="Ada", model_sha256="a" * 64, phones=400, bias=(0.1,) * 40)


def test_a_profile_is_read_again(tmp_path: Path) -> None:
    """A profile is read again."""
    path = tmp_path / "ada.json"
    path.write_bytes(profile().encoded())
    assert read_profile(path, "a" * 64) == profile()
    assert read_profile(path, "a" * 64).digest == profile().digest


@pytest.mark.parametrize(
    ("content", "sha256", "told"),
    [
        (profile().encoded(), "b" * 64, "made with another phone model"),
        (b"{}", "a" * 64, "is damaged"),
        (profile().encoded().replace(b"0.1", b"NaN", 1), "a" * 64, "is damaged"),
        (None, "a" * 64, "cannot be read"),
    ],
)
def test_a_profile_that_cannot_be_used(
    tmp_path: Path, content: bytes | None, sha256: str, told: str
) -> None:
    """A profile that cannot be used."""
    path = tmp_path / "ada.json"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(InputError, match=told):
        read_profile(path, sha256)
