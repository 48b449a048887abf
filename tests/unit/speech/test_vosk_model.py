"""Where a Vosk model is looked for and when a folder is refused, without loading one."""

import os
import sys
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
    standard_places,
)

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


def test_a_configured_folder_comes_before_the_variable(tmp_path: Path) -> None:
    """Both come before the standard places."""
    first, second = model(tmp_path / "first"), model(tmp_path / "second")
    environment = {MODEL_VARIABLE: str(second)}
    assert find_model("en", first, environment, tmp_path) == first
    assert find_model("en", None, environment, tmp_path) == second


def test_a_named_folder_that_is_no_model_is_an_error(tmp_path: Path) -> None:
    """What the user named is never silently passed over."""
    with pytest.raises(DeviceError, match="nowhere"):
        find_model("en", tmp_path / "nowhere", {}, tmp_path)
    with pytest.raises(DeviceError, match="elsewhere"):
        find_model("en", None, {MODEL_VARIABLE: str(tmp_path / "elsewhere")}, tmp_path)


def test_the_standard_places_are_searched_by_language(tmp_path: Path) -> None:
    """A usable folder of the language is found; static and foreign ones are passed over."""
    cache = tmp_path / ".cache" / "vosk"
    model(cache / "vosk-model-en-us-0.1", STATIC)
    model(cache / "vosk-model-english-0.1")
    model(cache / "vosk-model-small-ko-0.22")
    environment = {"XDG_DATA_HOME": "", MODEL_VARIABLE: ""}
    assert find_model("en", None, environment, tmp_path) is None
    wanted = model(cache / "vosk-model-small-en-us-0.15")
    assert find_model("en", None, environment, tmp_path) == wanted
    assert find_model("ko", None, environment, tmp_path) == cache / "vosk-model-small-ko-0.22"


@pytest.mark.skipif(sys.platform in {"win32", "darwin"}, reason="places differ by system")
def test_the_programs_own_place_comes_first(tmp_path: Path) -> None:
    """Below the user's data folder, wherever that is."""
    own = next(standard_places({"XDG_DATA_HOME": "/data"}, tmp_path))
    assert own == Path("/data/sampling-assistant/vosk")
    own = next(standard_places({}, tmp_path))
    assert own == tmp_path / ".local" / "share" / "sampling-assistant" / "vosk"
    model(tmp_path / ".cache" / "vosk" / "vosk-model-en-a")
    wanted = model(own / "vosk-model-en-b")
    assert find_model("en", None, {}, tmp_path) == wanted


def test_the_environment_of_the_process_is_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without other arguments."""
    monkeypatch.setenv(MODEL_VARIABLE, str(model(tmp_path / "m")))
    assert os.environ[MODEL_VARIABLE]
    assert find_model("en") == tmp_path / "m"


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
