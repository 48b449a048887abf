"""Where profiles are kept, and what cannot name one."""

from pathlib import Path

import pytest

from assistant.errors import InputError
from assistant.speech.phone_decoder import VoiceProfile, read_profile
from assistant.speech.phone_decoder.phone_model import SYMBOLS
from assistant.speech.voice_profiles import existing_profile, profile_path, save_profile
from assistant.user_folder import FOLDER_VARIABLE

ANN = VoiceProfile(name="Ann  Lee", model_sha256="0" * 64, phones=200, bias=(0.0,) * len(SYMBOLS))


def test_a_profile_is_found_by_its_name_in_any_case_and_spacing(tmp_path: Path) -> None:
    """It replaces an earlier one, and reads back as it was."""
    for _ in range(2):
        path = save_profile(ANN, tmp_path / "new")
    assert path == existing_profile(" ann lee ", tmp_path / "new")
    assert read_profile(path, "0" * 64) == ANN
    assert [each.name for each in path.parent.iterdir()] == ["ann-lee.voice.json"]


def test_the_usual_place_is_the_user_s_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside the models."""
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    assert profile_path("Björn") == tmp_path / "profiles" / "björn.voice.json"


@pytest.mark.parametrize("name", ["", "  ", "..", "/"])
def test_what_cannot_name_a_file_cannot_name_a_profile(name: str) -> None:
    """Nor lead out of the folder."""
    with pytest.raises(InputError, match="cannot name a profile; use letters or digits"):
        profile_path(name)


def test_a_missing_profile_says_how_to_make_one(tmp_path: Path) -> None:
    """By the very command."""
    with pytest.raises(
        InputError, match=r'no voice profile of "Bea".*create one with: enrol "Bea"'
    ):
        existing_profile("Bea", tmp_path)


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    """A file stands in its place."""
    (tmp_path / "taken").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        save_profile(ANN, tmp_path / "taken")
