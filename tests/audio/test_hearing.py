"""The true path: virtual cable -> PortAudio -> microphone -> ear -> recogniser."""

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.audio.conftest import VirtualSound

pytestmark = [pytest.mark.audio, pytest.mark.slow]


def test_phrases_by_two_voices_are_heard_through_the_sound_system(
    sound: "VirtualSound",
) -> None:
    """What two synthetic voices say into the cable comes out as the phrases, in order."""
    told = sound.run("hear", "25", "en-us", "en-gb-scotland+f3")
    assert [text for _decision, text, _reason in told["heard"]] == told["said"]
    assert told["lost"] == 0
    assert told["other"] == []
