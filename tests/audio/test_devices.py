"""Which devices are found on a virtual sound system, and what is said when there are none."""

import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.audio.conftest import VirtualSound

pytestmark = [pytest.mark.audio, pytest.mark.slow]


def test_devices_are_found_by_name_and_host(sound: "VirtualSound") -> None:
    """The default device answers to nothing, to its label, and to a word of it."""
    told = sound.run("devices", "input:", "output:", "input:default, ALSA", "output:ALSA")
    assert told["labels"] == ["default, ALSA"]
    assert told["found"] == ["default, ALSA"] * 4


def test_a_device_that_is_absent_is_named_with_those_that_are_there(sound: "VirtualSound") -> None:
    """The error has exit code 3 and lists what can be chosen."""
    told = sound.run("devices", "input:headset", "output:headset")
    assert told["found"] == [
        'error 3: The microphone "headset" is not connected; choose one of: default, ALSA',
        'error 3: The loudspeaker "headset" is not connected; choose one of: default, ALSA',
    ]


def test_without_any_device_the_error_says_so(sound: "VirtualSound") -> None:
    """With the server gone nothing can be listed; each kind has its sentence and exit code 3."""
    sound.stop()
    told = sound.run("devices", "input:", "output:usb")
    assert told["labels"] == []
    assert told["found"][0].startswith("error 3: There is no microphone; connect one")
    assert told["found"][1].startswith("error 3: There is no loudspeaker; connect one")


def test_without_portaudio_the_error_says_what_to_install(sound: "VirtualSound") -> None:
    """A machine without the system library gets one sentence and exit code 3."""
    hide = (
        "import ctypes.util, sys, runpy;"
        "ctypes.util.find_library = lambda name: None;"
        "runpy.run_path(sys.argv[1], run_name='__main__')"
    )
    scene = Path(__file__).parent / "scenes" / "devices.py"
    result = subprocess.run(
        [sys.executable, "-c", hide, str(scene)],
        env=sound.env,
        capture_output=True,
        timeout=60,
        check=True,
    )
    assert b"sudo apt install libportaudio2" in result.stdout
    assert b'"code": 3' in result.stdout
