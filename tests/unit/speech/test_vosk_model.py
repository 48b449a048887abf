"""Where a Vosk model is looked for and when a folder is refused, without loading one."""

from itertools import pairwise
from pathlib import Path

import pytest

from assistant.errors import DeviceError
from assistant.speech.vosk_engine import (
    MODEL_VARIABLE,
    check_model,
    fault_of_model,
    find_model,
    pair_cover,
)
from assistant.user_folder import FOLDER_VARIABLE

DYNAMIC = ("am/final.mdl", "conf/mfcc.conf", "graph/HCLr.fst", "graph/Gr.fst")
STATIC = ("am/final.mdl", "conf/mfcc.conf", "graph/HCLG.fst")


def model(folder: Path, files: tuple[str, ...] = DYNAMIC) -> Path:
    """Lay out the files by which a model is known."""
    for name in files:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).touch()
    return folder


def test_a_dynamic_model_is_accepted(tmp_path: Path) -> None:
    """All parts are there."""
    assert fault_of_model(model(tmp_path / "m")) is None
    check_model(tmp_path / "m")


@pytest.mark.parametrize("left_out", range(len(DYNAMIC)))
def test_a_model_that_lacks_a_part_is_refused(tmp_path: Path, left_out: int) -> None:
    """The sentence names the part and the folder."""
    files = DYNAMIC[:left_out] + DYNAMIC[left_out + 1 :]
    with pytest.raises(DeviceError, match=f"lacks .*{DYNAMIC[left_out]}") as caught:
        check_model(model(tmp_path / "broken", files))
    assert str(tmp_path / "broken") in str(caught.value)
    assert caught.value.exit_code == 3


def test_a_static_model_is_refused(tmp_path: Path) -> None:
    """It would silently ignore the phrases and write down anything."""
    with pytest.raises(DeviceError, match="static graph"):
        check_model(model(tmp_path / "static", STATIC))


def test_no_folder_is_refused(tmp_path: Path) -> None:
    """A path to nothing, or to an archive."""
    with pytest.raises(DeviceError, match="is not a folder"):
        check_model(tmp_path / "none")
    (tmp_path / "model.zip").touch()
    with pytest.raises(DeviceError, match="is not a folder"):
        check_model(tmp_path / "model.zip")


@pytest.fixture(autouse=True)
def _empty_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No model of this machine's user is found."""
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "user"))
    monkeypatch.delenv(MODEL_VARIABLE, raising=False)


def test_a_configured_folder_comes_before_the_variable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both come before the standard places."""
    first, second = model(tmp_path / "first"), model(tmp_path / "second")
    monkeypatch.setenv(MODEL_VARIABLE, str(second))
    assert find_model("en", first) == first
    assert find_model("en") == second


def test_a_named_folder_that_is_no_model_is_an_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the user named is never silently passed over."""
    with pytest.raises(DeviceError, match="nowhere"):
        find_model("en", tmp_path / "nowhere")
    monkeypatch.setenv(MODEL_VARIABLE, str(tmp_path / "elsewhere"))
    with pytest.raises(DeviceError, match="elsewhere"):
        find_model("en")


def test_the_standard_places_are_searched_by_language(tmp_path: Path) -> None:
    """A usable folder of the language is found; static and foreign ones are passed over."""
    cache = tmp_path / ".cache" / "vosk"
    model(cache / "vosk-model-en-us-0.1", STATIC)
    model(cache / "vosk-model-english-0.1")
    model(cache / "vosk-model-small-ko-0.22")
    assert find_model("en") is None
    wanted = model(cache / "vosk-model-small-en-us-0.15")
    assert find_model("en") == wanted
    assert find_model("ko") == cache / "vosk-model-small-ko-0.22"


def test_the_users_own_folder_comes_first(tmp_path: Path) -> None:
    """Before the folder that the library uses."""
    model(tmp_path / ".cache" / "vosk" / "vosk-model-en-a")
    wanted = model(tmp_path / "user" / "vosk" / "vosk-model-en-b")
    assert find_model("en") == wanted


def test_a_cover_holds_every_pair_of_words() -> None:
    """Of a thousand numbers a few dozen are enough; no pair of neighbours is lost."""
    digits = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
    phrases = [f"{a} {b} {c} milligrams" for a in digits for b in digits for c in digits]
    cover = pair_cover(phrases)
    assert len(cover) <= 200
    assert set(cover) <= set(phrases)

    def pairs(texts: list[str]) -> set[tuple[str, str]]:
        framed = [["<s>", *text.split(), "</s>"] for text in texts]
        return {(a, b) for words in framed for a, b in pairwise(words)}

    assert pairs(cover) == pairs(phrases)
