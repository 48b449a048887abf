"""Every speaker keeps the same promises: done is called once for each sentence, in order.

The one with a loudspeaker plays on the virtual sound system of the audio tests, in a process of its
own; the one without goes through the very same scene.
"""

import importlib.util
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from tests.audio.conftest import VirtualSound

AUDIO = Path(__file__).parents[1] / "audio"

_spec = importlib.util.spec_from_file_location("virtual_sound", AUDIO / "conftest.py")
assert _spec is not None
assert _spec.loader is not None
_module = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_module)
sound = _module.sound

LONG = "Keep the sampler upright and slide the outer tube off."


@pytest.fixture(params=["text", pytest.param("loud", marks=[pytest.mark.audio, pytest.mark.slow])])
def told(request: pytest.FixtureRequest) -> Any:  # noqa: ANN401 - what the scene tells
    """What one of the speakers did."""
    if request.param == "text":
        return _module.run_scene("contract_speaker", "text")
    virtual: VirtualSound = request.getfixturevalue("sound")
    return virtual.run("contract_speaker", "loud")


def test_a_speaker_reports_every_sentence_done_once_and_in_order(told: dict[str, Any]) -> None:
    """Spoken whole, spoken into, cut, empty: each sentence is done exactly once."""
    assert told["name"]
    assert told["one"] == ["One."]
    assert told["into"] == [LONG, "Two."]
    assert told["at once"] == [LONG, "Three.", "Four."]
    assert told["cut"] == [LONG]
    assert told["empty"] == [""]
    assert told["again"] == ["Five."]
