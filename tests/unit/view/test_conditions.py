"""What the record says about devices, room, disk and clock."""

import pytest

from assistant.procedure.events import (
    AudioLost,
    ClockStepped,
    DeviceBack,
    DeviceLost,
    Event,
    Heard,
    NoiseRose,
    Opened,
    Resumed,
    SoundChecked,
    StorageTroubled,
)
from assistant.view.conditions import Conditions, conditions_after

CHECKED = SoundChecked(
    speech_dbfs="-20", noise_dbfs="-50", snr_db="30", clipped=False, recognised=3, asked=4
)


@pytest.mark.parametrize(
    ("event", "name", "good", "text"),
    [
        (CHECKED, "noise", True, "speech 30 dB above the room"),
        (
            CHECKED.model_copy(update={"overridden": True}),
            "noise",
            False,
            "overridden, speech 30 dB above the room",
        ),
        (
            NoiseRose(noise_dbfs="-40", rise_db="9"),
            "noise",
            False,
            "the room is 9 dB louder than at the sound check",
        ),
        (DeviceLost(device="speaker", reason="gone"), "speaker", False, "lost: gone"),
        (DeviceBack(device="microphone", name="USB"), "microphone", True, "USB"),
        (AudioLost(milliseconds=70), "microphone", True, "70 ms of sound were lost"),
        (ClockStepped(seconds="3"), "clock", False, "stepped by 3 s"),
        (StorageTroubled(reason="full", seconds="2.0"), "disk", True, "written again after 2.0 s"),
        (
            Resumed(software="x", engine="e", microphone="", speaker="s"),
            "microphone",
            True,
            "no microphone",
        ),
    ],
)
def test_an_event_changes_its_condition(event: Event, name: str, *, good: bool, text: str) -> None:
    """And says it in words."""
    found = getattr(conditions_after(Conditions(), event), name)
    assert (found.good, found.text) == (good, text)


@pytest.mark.parametrize(
    ("synchronised", "good", "text"),
    [
        ("yes", True, "set by a time server"),
        ("no", False, "not set by a time server"),
        ("unknown", True, "not known whether a time server sets it"),
        ("", True, "not known"),
    ],
)
def test_the_clock_is_as_the_opening_says(synchronised: str, *, good: bool, text: str) -> None:
    """Records of older versions do not say."""
    opened = Opened.model_validate(
        {
            **dict.fromkeys(("software", "plan_sha256", "grammar_sha256", "operator"), "x"),
            **dict.fromkeys(("engine", "microphone", "speaker"), "x"),
            "clock_synchronised": synchronised,
        }
    )
    found = conditions_after(Conditions(), opened)
    assert (found.clock.good, found.clock.text) == (good, text)
    assert found.microphone.text == "x"


def test_a_phrase_changes_none() -> None:
    """The very same object goes on."""
    now = Conditions()
    assert conditions_after(now, Heard(source="key", text="", decision="refuse")) is now
