"""A person's profile: made, kept, read back, and refused when it is not as it was."""

from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.errors import InputError
from assistant.speech.utterance_verification import Judge
from assistant.speech.utterance_verification.dtw_templates import Compared
from assistant.speech.utterance_verification.profile import (
    USUAL_GAP,
    Profile,
    load_profile,
    make_profile,
    profile_path,
    save_profile,
)
from assistant.speech.utterance_verification.trimming import Samples
from assistant.user_folder import FOLDER_VARIABLE

Sing = Callable[..., Samples]


@pytest.fixture(scope="module")
def profile(sung: Sing) -> Profile:
    """Two phrases, the first one said twice."""
    rising, falling = sung("rising").tobytes(), sung("falling").tobytes()
    slower = sung("rising", 0.22).tobytes()
    return make_profile("Ann O'Dell", [("go on", rising), ("hold", falling), ("go on", slower)])


def test_a_profile_reads_back_with_its_hash(profile: Profile, tmp_path: Path) -> None:
    """The file is replaced as a whole; upper case and signs of the name do not matter."""
    first = save_profile(profile, tmp_path / "new")
    assert save_profile(profile, tmp_path / "new") == first
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["ann-o-dell.voice.json"]
    read = load_profile("ann o'dell", tmp_path / "new")
    assert read == profile
    assert read.digest == profile.digest
    assert len(read.templates["go on"]) == 2


def test_another_saying_is_another_hash(profile: Profile, sung: Sing) -> None:
    """The record can tell two enrolments of a person apart."""
    other = make_profile(profile.name, [("go on", sung("falling").tobytes())])
    assert other.digest != profile.digest


def test_likeness_to_the_phrase_and_to_its_rival(profile: Profile, sung: Sing) -> None:
    """The tune of "go on" is near its template, and "hold" is farther."""
    heard = Compared(sung("rising", 0.21))
    found = profile.figures(heard, "go on", "hold")
    swapped = profile.figures(heard, "hold", "go on")
    assert found["v_gap"] > 0.0
    assert swapped["v_own"] == pytest.approx(found["v_own"] + found["v_gap"])
    assert swapped["v_gap"] == pytest.approx(-found["v_gap"])


def test_a_phrase_that_was_never_said_has_no_figures(profile: Profile, sung: Sing) -> None:
    """And a rival that was never said counts as usual."""
    heard = Compared(sung("rising"))
    assert profile.figures(heard, "stop", "hold") == {}
    assert profile.figures(heard, "hold", "")["v_gap"] == pytest.approx(USUAL_GAP)


def test_nothing_said_makes_no_profile() -> None:
    """The person is told what to do."""
    with pytest.raises(InputError, match="say each phrase"):
        make_profile("Ann", [])


def test_a_missing_profile_names_the_command(tmp_path: Path) -> None:
    """How to make one."""
    with pytest.raises(InputError, match='enrol "Ann"'):
        load_profile("Ann", tmp_path)


@pytest.mark.parametrize(
    "text",
    ["{", '{"name": "Ann", "templates": {}}', '{"name": "Ann", "templates": {"go": ["AAAA"]}}'],
)
def test_a_damaged_profile_is_refused(text: str, tmp_path: Path) -> None:
    """Cut short, empty, or with a template that cannot be unpacked."""
    profile_path("Ann", tmp_path).write_text(text)
    with pytest.raises(InputError, match="damaged"):
        load_profile("Ann", tmp_path)


def test_a_folder_that_cannot_be_used_is_named(profile: Profile, tmp_path: Path) -> None:
    """A file stands where the folder should be; a folder stands where the file should be."""
    (tmp_path / "taken").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        save_profile(profile, tmp_path / "taken")
    profile_path("Ann", tmp_path).mkdir()
    with pytest.raises(InputError, match="cannot be read"):
        load_profile("Ann", tmp_path)


def test_a_name_needs_a_letter() -> None:
    """Signs alone cannot name a file."""
    with pytest.raises(InputError, match="letters or digits"):
        profile_path("../..")


def test_profiles_lie_in_the_users_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside settings and models."""
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    assert profile_path("Ann").parent == tmp_path / "profiles"


def test_the_judge_puts_the_hash_on_record(profile: Profile) -> None:
    """The name of the judge is part of the record's first entry."""
    assert profile.digest in Judge(profile=profile).name
    assert "enrolled" in Judge(profile=profile).name
