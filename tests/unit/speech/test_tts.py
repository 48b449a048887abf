"""The synthetic voice: rendered once, at the right rate, with clear errors."""

import importlib.util
import json
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import DeviceError, InputError
from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import bytes_of, level_dbfs, samples_of
from assistant.speech.simulated_room import active_rms
from assistant.speech.tts import EspeakRenderer, Voice
from assistant.speech.tts_system import SystemRenderer

SENTENCE = "Open the bottom port."


class CountingRenderer:
    """Makes a second of a tone at 22 050 Hz and counts how often it is asked."""

    name = "tone 1.0"

    def __init__(self) -> None:
        """Start at none."""
        self.asked: list[tuple[str, str, int]] = []

    def render(self, text: str, *, voice: str, rate: int) -> tuple[bytes, int]:
        """Return the tone."""
        self.asked.append((text, voice, rate))
        time = np.arange(22050) / 22050
        return bytes_of(8000 * np.sin(2 * np.pi * 440 * time)), 22050


def in_a_process_of_its_own(program: str, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a program, since eSpeak NG starts once in a process."""
    return subprocess.run(
        [sys.executable, "-W", "error", "-c", program, *words],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


def test_a_sentence_is_rendered_once_and_kept() -> None:
    """The same text gives the same bytes without asking the renderer again."""
    renderer = CountingRenderer()
    voice = Voice("alto", 120, renderer)
    once = voice.render(SENTENCE)
    assert voice.render(SENTENCE) is once
    voice.render("Another.")
    assert renderer.asked == [(SENTENCE, "alto", 120), ("Another.", "alto", 120)]
    assert voice.name == "tone 1.0 alto 120 wpm"


def test_sound_is_brought_to_the_programs_rate() -> None:
    """One second stays one second, 440 Hz stay 440 Hz, the level stays."""
    pcm = Voice("", 120, CountingRenderer()).render(SENTENCE)
    signal = samples_of(pcm)
    assert signal.size == pytest.approx(SAMPLE_RATE, abs=2)
    spectrum = np.abs(np.fft.rfft(signal.astype(float)))
    assert np.argmax(spectrum) * SAMPLE_RATE / signal.size == pytest.approx(440, abs=1)
    assert active_rms(signal.astype(float)) == pytest.approx(8000 / np.sqrt(2), rel=0.02)


@pytest.mark.parametrize("name", ["", "en-us", "en-us+f3", "en-gb-scotland", "en-029"])
def test_espeak_speaks_with_several_voices(name: str) -> None:
    """A sentence of some length and loudness, without a long silence around it."""
    pcm = Voice(name).render(SENTENCE)
    assert 0.8 < len(pcm) / 2 / SAMPLE_RATE < 2.0
    assert -30 < level_dbfs(pcm) < -10
    loud = np.flatnonzero(np.abs(samples_of(pcm)) > 300) / SAMPLE_RATE
    assert loud[0] < 0.1
    assert len(pcm) / 2 / SAMPLE_RATE - loud[-1] < 0.15


def test_espeak_speaks_faster_when_told() -> None:
    """Twice the words per minute take less than 0.7 of the time."""
    assert len(Voice(rate=240).render(SENTENCE)) < 0.7 * len(Voice(rate=120).render(SENTENCE))


def test_voices_do_not_disturb_each_other() -> None:
    """Two voices asked in turn and from several threads keep their own sound."""
    slow, fast = Voice("en-us+m3", 120), Voice("en-us+f4", 240)
    texts = [f"Push out die {number}." for number in range(8)]
    with ThreadPoolExecutor(4) as threads:
        list(threads.map(lambda text: (slow.render(text), fast.render(text)), texts))

    for text in texts:
        assert slow.render(text) == Voice("en-us+m3", 120).render(text)
        assert fast.render(text) == Voice("en-us+f4", 240).render(text)


def test_the_same_text_gives_the_same_bytes_whatever_was_spoken_before() -> None:
    """Each rendering is new: nothing is kept from one voice to the next."""
    renderings = set()
    for number in range(6):
        EspeakRenderer().render("Wait." * number, voice="en-gb-scotland", rate=150)
        renderings.add(EspeakRenderer().render(SENTENCE, voice="en-us", rate=165))
    assert len(renderings) == 1


def test_an_unknown_voice_is_an_error_of_the_caller() -> None:
    """The sentence names it and says where voices are listed."""
    with pytest.raises(InputError, match='no voice "nobody"') as caught:
        Voice("nobody").render(SENTENCE)
    assert "espeak-ng --voices" in str(caught.value)


BUNDLED = """
import json, sys
from assistant.speech import tts_espeak
engine = tts_espeak.open_espeak(bundled_only=True)
print(json.dumps([engine.origin, engine.version, engine.sample_rate,
                  len(engine.render("Open the bottom port.", voice="en-us", rate=165))]))
"""

WITHOUT = """
import sys
from assistant.errors import DeviceError
from assistant.speech import tts_espeak
tts_espeak.SYSTEM_LIBRARIES = ()
sys.modules["espeakng_loader"] = None
try:
    from assistant.speech.tts import EspeakRenderer, Voice
    Voice()
except DeviceError as fault:
    print(fault.exit_code, fault)
"""

NO_DATA = """
import ctypes
from assistant.errors import DeviceError
from assistant.speech import tts_espeak
import espeakng_loader, pathlib, shutil, sys
copy = pathlib.Path(sys.argv[1])
shutil.copy(espeakng_loader.get_library_path(), copy / "lib.so")
tts_espeak.SYSTEM_LIBRARIES = (str(copy / "lib.so"),)
sys.modules["espeakng_loader"] = None
import os
os.environ["ESPEAK_DATA_PATH"] = str(copy)
try:
    tts_espeak.open_espeak()
except DeviceError as fault:
    print(fault.exit_code, fault)
"""

needs_bundled = pytest.mark.skipif(
    importlib.util.find_spec("espeakng_loader") is None, reason="espeakng-loader is not installed"
)


@needs_bundled
def test_without_a_system_library_the_bundled_one_speaks() -> None:
    """As on a machine where nothing but Python packages can be installed."""
    result = in_a_process_of_its_own(BUNDLED)
    assert not result.returncode, result.stderr
    origin, version, rate, length = json.loads(result.stdout)
    assert origin == "bundled"
    assert version.startswith("1.")
    assert 0.8 < length / 2 / rate < 2.0


@needs_bundled
def test_the_bundled_library_works_from_a_deep_folder(tmp_path: Path) -> None:
    """The library's own limit for the path of its data is 149 characters or so."""
    spec = importlib.util.find_spec("espeakng_loader")
    assert spec is not None
    assert spec.origin is not None
    deep = tmp_path.joinpath(*["a-folder-with-a-long-name"] * 7)
    deep.mkdir(parents=True)
    (deep / "espeakng_loader").symlink_to(Path(spec.origin).parent, target_is_directory=True)
    assert len(str(deep)) > 170
    result = in_a_process_of_its_own(
        f"import sys; sys.path.insert(0, sys.argv[1])\n{BUNDLED}", str(deep)
    )
    assert not result.returncode, result.stderr
    assert json.loads(result.stdout)[0] == "bundled"


def test_without_any_library_the_error_says_what_to_install() -> None:
    """Exit code 3, one sentence, both ways to install."""
    result = in_a_process_of_its_own(WITHOUT)
    assert result.stdout.startswith("3 The voice eSpeak NG cannot be used, no library was found")
    assert "sudo apt install libespeak-ng1" in result.stdout
    assert "pip install espeakng-loader" in result.stdout


def test_a_system_voice_is_rendered_by_a_child_process() -> None:
    """The way of macOS and Windows, here with whatever voice pyttsx3 finds on this system."""
    renderer = SystemRenderer()
    try:
        pcm, rate = renderer.render(SENTENCE, voice="", rate=165)
    except DeviceError as fault:
        if sys.platform == "linux":
            pytest.skip(f"pyttsx3 finds no voice: {fault}")
        raise
    assert "pyttsx3" in renderer.name
    assert 0.8 < len(pcm) / 2 / rate < 3.0


def test_a_system_voice_that_hangs_or_fails_is_given_up() -> None:
    """After its time limit, with one sentence."""
    with pytest.raises(DeviceError, match=r"did not answer within 0\.001 s"):
        SystemRenderer(time_limit_s=0.001).render(SENTENCE, voice="", rate=165)
