"""`enrol` from a folder of recordings: the profile, its hash, and what cannot be used."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.cli import main
from assistant.ports import SAMPLE_RATE
from assistant.procedure.events import Opened
from assistant.record import open_record
from assistant.speech.utterance_verification.profile import load_profile


def record(path: Path, hertz: float, seconds: float = 0.8) -> None:
    """Write a tone that comes and goes like syllables, in a quiet room."""
    time = np.arange(int(seconds * SAMPLE_RATE)) / SAMPLE_RATE
    tone = 6000.0 * np.sin(2 * np.pi * hertz * time) * (1.2 + np.sin(20.0 * time))
    room = np.zeros(SAMPLE_RATE)
    signal = np.concatenate([room, tone, room])
    signal += np.random.default_rng(1).normal(0.0, 8.0, signal.size)
    soundfile.write(path, np.rint(signal).astype(np.int16), SAMPLE_RATE, subtype="PCM_16")


def test_a_folder_of_recordings_makes_a_profile(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two of the phrases; the others are named, the hash is printed, other files are passed by."""
    clips, kept = tmp_path / "clips", tmp_path / "kept"
    clips.mkdir()
    record(clips / "dies-are-seated.wav", 300.0)
    record(clips / "SAY-AGAIN.wav", 900.0)
    (clips / "notes.txt").write_text("said standing")
    code = main(["enrol", "Ann", "bin", "--audio", str(clips), "--profiles", str(kept)])
    out = capsys.readouterr().out
    profile = load_profile("Ann", kept)
    assert code == 0
    assert set(profile.templates) == {"dies are seated", "say again"}
    assert profile.digest in out
    assert "heard 2 of" in out
    assert "sampler at depth" in out
    assert "vial one full" not in out


def test_a_session_listens_with_a_profile_and_puts_its_hash_on_record(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """In the first entry; a person without a profile is refused before anything is made."""
    kept, into, clips = tmp_path / "kept", tmp_path / "record", tmp_path / "clips"
    clips.mkdir()
    record(clips / "dies-are-seated.wav", 300.0)
    assert main(["enrol", "Ann", "bin", "--audio", str(clips), "--profiles", str(kept)]) == 0
    sound = ["bin", "--audio", str(clips / "dies-are-seated.wav"), "--engine", "embedded"]
    words = ["run", *sound, "--into", str(into), "--profiles", str(kept), "--profile"]
    assert main([*words, "Ben"]) == 2
    assert 'no voice profile of "Ben"' in capsys.readouterr().err
    assert not into.exists()
    assert main([*words, "Ann"]) == 1
    opened = next(iter(open_record(into).told())).event
    assert isinstance(opened, Opened)
    profile = load_profile("Ann", kept)
    assert opened.profile_sha256 == profile.digest
    assert profile.digest in opened.engine


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
    assert "Nothing was heard" in capsys.readouterr().err
