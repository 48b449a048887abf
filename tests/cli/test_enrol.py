"""`enrol` from a folder of recordings: the profile, its hash, and what cannot be used."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.cli import main
from assistant.grammar.language import parse_grammar
from assistant.ports import SAMPLE_RATE
from assistant.procedure.enums import POSITIONAL, SHORT_ONLY, VIAL
from assistant.procedure.events import Opened
from assistant.record import open_record
from assistant.speech.pcm import bytes_of, samples_of
from assistant.speech.phone_decoder import load_model, read_profile
from assistant.speech.tts import Voice
from assistant.storage import bundled_files


def record(path: Path, hertz: float, seconds: float = 0.8) -> None:
    """Write a tone that comes and goes like syllables, in a quiet room."""
    time = np.arange(int(seconds * SAMPLE_RATE)) / SAMPLE_RATE
    tone = 6000.0 * np.sin(2 * np.pi * hertz * time) * (1.2 + np.sin(20.0 * time))
    room = np.zeros(SAMPLE_RATE)
    signal = np.concatenate([room, tone, room])
    signal += np.random.default_rng(1).normal(0.0, 8.0, signal.size)
    soundfile.write(path, np.rint(signal).astype(np.int16), SAMPLE_RATE, subtype="PCM_16")


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return recordings of one voice: most phrases without an object, and a text file."""
    folder = tmp_path_factory.mktemp("clips")
    language = parse_grammar(bundled_files.read_grammar("en"), "en")
    voice = Voice("en-us+f3", rate=150)
    plain = [
        text
        for intent, text in language.phrases.items()
        if "{" not in text and intent not in (*POSITIONAL, *VIAL, *SHORT_ONLY)
    ]
    for text in plain[:25]:
        room = np.random.default_rng(1).normal(0.0, 8.0, SAMPLE_RATE)
        sound = samples_of(bytes_of(room) + voice.render(text) + bytes_of(room))
        name = text.upper() if text == "say again" else text
        path = folder / f"{name.replace(' ', '-')}.wav"
        soundfile.write(path, sound, SAMPLE_RATE, subtype="PCM_16")
    (folder / "notes.txt").write_text("said standing")
    return folder


@pytest.mark.model
def test_a_folder_of_recordings_makes_a_profile(
    clips: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The phrases that are missing are named, the hash is printed, other files are passed by."""
    assert main(["enrol", "Ann", "bin", "--audio", str(clips), "--profiles", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    profile = read_profile(tmp_path / "ann.voice.json", load_model().sha256)
    assert (profile.name, profile.phones > 150) == ("Ann", True)
    assert profile.digest in out
    assert "heard 25 of" in out
    assert "stop sampling now" in out.partition("not heard: ")[2]
    assert "vial one full" not in out


@pytest.mark.slow
@pytest.mark.model
def test_a_session_listens_with_a_profile_and_puts_its_hash_on_record(
    clips: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the first entry; a person without a profile is refused before anything is made."""
    kept, into = tmp_path / "kept", tmp_path / "record"
    assert main(["enrol", "Ann", "bin", "--audio", str(clips), "--profiles", str(kept)]) == 0
    sound = ["bin", "--audio", str(clips / "dies-are-seated.wav")]
    words = ["run", *sound, "--into", str(into), "--profiles", str(kept), "--profile"]
    assert main([*words, "Ben"]) == 2
    assert 'no voice profile of "Ben"' in capsys.readouterr().err
    assert main([*words, "Ann", "--engine", "embedded"]) == 2
    assert "belongs to the phone model" in capsys.readouterr().err
    assert not into.exists()
    assert main([*words, "Ann"]) == 1
    opened = next(iter(open_record(into).told())).event
    assert isinstance(opened, Opened)
    profile = read_profile(kept / "ann.voice.json", load_model().sha256)
    assert opened.profile_sha256 == profile.digest
    assert profile.digest in opened.engine


@pytest.mark.model
def test_a_profile_made_with_another_model_is_refused(
    clips: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its figures belong to the network it was made with."""
    assert main(["enrol", "Ann", "bin", "--audio", str(clips), "--profiles", str(tmp_path)]) == 0
    path = tmp_path / "ann.voice.json"
    path.write_text(path.read_text().replace(load_model().sha256, "0" * 64))
    sound = str(clips / "dies-are-seated.wav")
    words = ["run", "bin", "--audio", sound, "--into", str(tmp_path / "r")]
    assert main([*words, "--profiles", str(tmp_path), "--profile", "Ann"]) == 2
    assert "was made with another phone model (000000000000" in capsys.readouterr().err


@pytest.mark.model
def test_too_little_speech_makes_no_profile(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A tone is no voice."""
    record(tmp_path / "dies-are-seated.wav", 300.0)
    assert main(["enrol", "Ann", "--audio", str(tmp_path), "--profiles", str(tmp_path)]) == 2
    assert 'sounds of what "Ann" said were clear' in capsys.readouterr().err
    assert not list(tmp_path.glob("*.json"))


@pytest.mark.parametrize(
    ("name", "seconds", "message"),
    [("make-tea", 0.8, "no phrase of this plan"), ("say-again", 0.02, "nothing is said in it")],
)
def test_a_recording_that_cannot_be_used_is_named(
    name: str, seconds: float, message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another phrase, or no speech; no profile is left behind."""
    record(tmp_path / f"{name}.wav", 300.0, seconds)
    assert main(["enrol", "Ann", "--audio", str(tmp_path), "--profiles", str(tmp_path)]) == 2
    assert message in capsys.readouterr().err
    assert not list(tmp_path.glob("*.json"))


def test_a_missing_or_empty_folder_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing to read, nothing heard."""
    assert main(["enrol", "Ann", "--audio", str(tmp_path / "none")]) == 2
    assert "There is no folder" in capsys.readouterr().err
    assert main(["enrol", "Ann", "--audio", str(tmp_path)]) == 2
    assert "Only 0 sounds" in capsys.readouterr().err
