"""The choice among devices, without any device."""

import threading
import time

import pytest

from assistant.errors import DeviceError
from assistant.speech import devices
from assistant.speech.devices import Device, SoundSystem, choose, within


def device(index: int, name: str, host: str = "ALSA", inputs: int = 1, outputs: int = 0) -> Device:
    """Describe a device."""
    return Device(index, name, host, inputs, outputs, 48000)


DEVICES = [
    device(0, "USB headset", "MME"),
    device(1, "USB headset", "WASAPI"),
    device(2, "Built-in microphone"),
    device(3, "Built-in microphone array"),
]


def test_without_a_wish_the_default_is_taken_or_the_first() -> None:
    """The system may have no default."""
    assert choose(DEVICES, "input", "", 2).index == 2
    assert choose(DEVICES, "input", "", -1).index == 0


def test_a_label_finds_its_device_again() -> None:
    """Name and host together, in any case, even where another name goes on behind it."""
    for found in DEVICES:
        assert choose(DEVICES, "input", found.label.upper(), 0) is found


def test_words_of_the_label_are_enough() -> None:
    """In any order."""
    assert choose(DEVICES, "input", "wasapi usb", 0).index == 1
    assert choose(DEVICES, "input", "array", 0).index == 3


def test_a_wish_that_fits_several_or_none_is_refused_with_a_list() -> None:
    """The list holds those that fit, or all."""
    with pytest.raises(DeviceError) as several:
        choose(DEVICES, "input", "usb", 0)
    assert str(several.value) == (
        'The microphone "usb" matches several devices; choose one of: USB headset, MME; '
        "USB headset, WASAPI"
    )
    with pytest.raises(DeviceError, match='The loudspeaker "radio" is not connected') as none:
        choose(DEVICES, "output", "radio", 0)
    assert str(none.value).count(";") == len(DEVICES)
    assert none.value.exit_code == 3


def test_what_a_device_can_do() -> None:
    """Channels in and out."""
    assert DEVICES[0].has("input")
    assert not DEVICES[0].has("output")
    assert device(0, "speaker", inputs=0, outputs=2).has("output")


def test_an_action_that_hangs_is_left_behind() -> None:
    """Closing a dead device may never return."""
    release = threading.Event()
    began = time.monotonic()

    def hang() -> None:
        release.wait(5)

    assert not within(0.05, hang)
    assert time.monotonic() - began < 2
    release.set()
    assert within(5.0, lambda: None)


class Library:
    """Stands for the audio library: not to be asked while it starts anew."""

    class PortAudioError(Exception):
        """What the library raises."""

    def __init__(self) -> None:
        """Start in order."""
        self.ready = True
        self.restarting = threading.Event()
        self.go_on = threading.Event()

    def _terminate(self) -> None:
        self.ready = False
        self.restarting.set()
        self.go_on.wait(5)

    def _initialize(self) -> None:
        self.ready = True

    def query_hostapis(self) -> list[dict[str, object]]:
        """Return no host, or fail."""
        if not self.ready:
            raise self.PortAudioError("PortAudio not initialized")
        return []

    def query_devices(self) -> list[dict[str, object]]:
        """Return no device."""
        return []


def test_a_query_while_the_list_is_refreshed_is_refused_not_answered_wrongly(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The microphone's thread refreshes; the session, about to speak, gets one clear sentence."""
    library = Library()
    monkeypatch.setattr(devices, "load_library", lambda: library)
    monkeypatch.setattr(devices, "_QUERY_SECONDS", 0.05)
    system = SoundSystem()
    refresh = threading.Thread(target=system.refresh)
    refresh.start()
    assert library.restarting.wait(5)
    with pytest.raises(DeviceError, match="does not answer yet"):
        system.find("output")
    library.go_on.set()
    refresh.join(5)
    assert system.devices() == []


def test_a_library_that_did_not_start_again_is_a_device_that_is_missing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The server hung during the refresh."""
    library = Library()
    monkeypatch.setattr(devices, "load_library", lambda: library)
    system = SoundSystem()
    library.ready = False
    with pytest.raises(DeviceError, match=r"does not answer \(PortAudio not initialized\)"):
        system.devices()
