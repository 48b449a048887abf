"""The true path outwards: voice -> loudspeaker -> PortAudio -> virtual cable -> listener."""

import statistics
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from tests.audio.conftest import VirtualSound

pytestmark = [pytest.mark.audio, pytest.mark.slow]

TRIALS = 6


@pytest.fixture
def told(sound: "VirtualSound") -> Any:  # noqa: ANN401 - what the scene tells
    """What a speaker did and what arrived at the loudspeaker."""
    return sound.run("speak", str(TRIALS))


def test_sentences_are_spoken_cut_and_replaced_on_time(told: dict[str, Any]) -> None:
    """A sentence sounds soon and whole, is done at its real end, and is cut at once.

    The limits leave room for a loaded machine: idle, the first sample arrived 30 to 45 ms after the
    request, `done` came within 5 ms of the last sample, and silence within 2 ms.
    """
    whole, cut = told["whole"], told["cut"]
    assert len(whole) == len(cut) == TRIALS
    # The median of a few trials, since one of them may meet a busy machine.
    assert statistics.median(trial["first_ms"] for trial in whole) < 100
    for trial in whole:
        assert trial["loud_s"] == pytest.approx(told["sentence_s"], abs=0.1)
        assert abs(trial["claimed_first_ms"] - trial["first_ms"]) < 60
        assert -60 < trial["done_after_last_ms"] < 150
    for trial in cut:
        assert trial["silent_ms"] < 60
        assert trial["done_called"]
    assert told["replaced"]["order"] == ["first", "second"]
    assert told["replaced"]["loud_s"] < 1.0


def test_the_gate_keeps_the_program_from_hearing_itself(sound: "VirtualSound") -> None:
    """With the loudspeaker wired into the microphone a prompt with a legal phrase is not heard.

    Without the gate it is, which shows that the wire carries the sound.
    """
    sound.play_noise()
    sound.pactl("load-module", "module-loopback", "source=speaker.monitor", "sink=mic_in")
    assert sound.run("echo", "open")["heard"] == ["bottom port open"] * 3
    gated = sound.run("echo", "gate")
    assert gated == {"heard": [], "other": []}


def test_cutting_a_sentence_is_no_loss_of_the_loudspeaker(sound: "VirtualSound") -> None:
    """The device stops for a moment where a sentence is cut; a look just then means nothing."""
    assert sound.run("cuts", "100") == {"lost": [], "done": 100}


def test_a_prompt_does_not_stutter_while_something_is_judged(sound: "VirtualSound") -> None:
    """The recogniser lets no other thread run for up to 0.3 s; the device holds enough for that.

    One of the five may meet a machine that is busy for longer.
    """
    silent = sound.run("stutter")["silent"]
    assert sum(pieces == 0 for pieces in silent) >= 4, silent
