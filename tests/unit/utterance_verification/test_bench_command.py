"""The listening benchmark refuses clearly where it cannot measure; its table has other tests."""

from pathlib import Path

import pytest

from tests.listening_bench.__main__ import main
from tests.listening_bench.material import lacking


def test_without_the_speech_material_it_says_what_to_install(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """No program can be found, so the synthesisers are named first of all."""
    monkeypatch.setenv("PATH", str(tmp_path))
    assert {"espeak-ng", "flite", "ffmpeg"} <= set(lacking())
    assert main(["--into", str(tmp_path / "new")]) == 3
    err = capsys.readouterr().err
    assert "speech material is not installed" in err
    assert "apt-get install espeak-ng flite ffmpeg" in err
    assert not (tmp_path / "new").exists()


def test_a_file_is_no_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where the sound is to go."""
    if missing := lacking():
        pytest.skip(f"needs {', '.join(missing)}")
    taken = tmp_path / "taken"
    taken.write_text("")
    assert main(["--into", str(taken)]) == 2
    assert "is not a folder" in capsys.readouterr().err
