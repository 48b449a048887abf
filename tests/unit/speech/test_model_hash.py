"""The hash over a model folder."""

import hashlib
from pathlib import Path

import pytest

from assistant.errors import DeviceError
from assistant.speech.model_hash import folder_hash
from assistant.speech.pocketsphinx_engine import model_folder


def fill(folder: Path, **files: bytes) -> Path:
    """Write files; double underscores stand for folders, a single one for the dot."""
    for name, content in files.items():
        path = folder / name.replace("__", "/").replace("_", ".")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


def test_the_hash_of_a_small_folder_is_as_described(tmp_path: Path) -> None:
    """Computed here by hand from the description."""
    fill(tmp_path, b_txt=b"two", a__c_txt=b"one")
    lines = (
        f"a/c.txt\0{hashlib.sha256(b'one').hexdigest()}\n"
        f"b.txt\0{hashlib.sha256(b'two').hexdigest()}\n"
    )
    assert folder_hash(tmp_path) == hashlib.sha256(lines.encode()).hexdigest()


def test_content_and_names_count_compiled_files_do_not(tmp_path: Path) -> None:
    """Any change of a byte or a name is another model."""
    first = folder_hash(fill(tmp_path / "1", a_txt=b"x", b_txt=b"y"))
    assert folder_hash(fill(tmp_path / "2", a_txt=b"x", b_txt=b"y", c_pyc=b"z")) == first
    assert folder_hash(fill(tmp_path / "3", a_txt=b"x", b_txt=b"z")) != first
    assert folder_hash(fill(tmp_path / "4", a_txt=b"x", c_txt=b"y")) != first


def test_a_folder_without_files_is_refused(tmp_path: Path) -> None:
    """Nothing can have listened with it."""
    with pytest.raises(DeviceError, match="contains no file"):
        folder_hash(tmp_path)
    with pytest.raises(DeviceError, match="contains no file"):
        folder_hash(tmp_path / "none")


def test_the_embedded_model_has_a_hash() -> None:
    """64 hexadecimal digits, the same each time."""
    found = folder_hash(model_folder())
    assert len(found) == 64
    assert folder_hash(model_folder()) == found
