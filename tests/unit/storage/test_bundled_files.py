"""Shipped plans and grammars are found in a checkout and in an installed package."""

from pathlib import Path

import pytest

from assistant.errors import InputError
from assistant.storage import bundled_files


def make(folder: Path) -> None:
    """Put one invented plan and grammar under a folder."""
    for kind in ("plans", "grammars", "plans/rehearsals"):
        (folder / kind).mkdir(parents=True)
        (folder / kind / "b.toml").write_bytes(kind.encode())
        (folder / kind / "a.toml").write_bytes(b"first\r\n")
        (folder / kind / "notes.txt").write_bytes(b"")


@pytest.mark.parametrize("place", ["assistant/_shipped", "."])
def test_both_places_are_found(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str) -> None:
    """Inside the package when it is installed, beside it otherwise; bytes untouched."""
    monkeypatch.setattr(bundled_files, "_PACKAGE", tmp_path / "assistant")
    make(tmp_path / place)
    assert (
        bundled_files.plan_names()
        == bundled_files.languages()
        == bundled_files.script_names()
        == ("a", "b")
    )
    assert bundled_files.read_plan("b") == b"plans"
    assert bundled_files.read_script("b") == b"plans/rehearsals"
    assert bundled_files.read_grammar("a") == b"first\r\n"


@pytest.mark.parametrize("name", ["c", "../plans/a", "a.toml", ""])
def test_an_unknown_name_is_told_with_the_known_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """No path can be smuggled in."""
    monkeypatch.setattr(bundled_files, "_PACKAGE", tmp_path / "assistant")
    make(tmp_path)
    for read in (bundled_files.read_plan, bundled_files.read_grammar, bundled_files.read_script):
        with pytest.raises(InputError, match="choose one of a, b"):
            read(name)


def test_what_is_shipped_here_can_be_read() -> None:
    """The real files, wherever this package was imported from."""
    assert bundled_files.plan_names()
    assert "en" in bundled_files.languages()
    for name in bundled_files.plan_names():
        assert bundled_files.read_plan(name).decode()
    for language in bundled_files.languages():
        assert bundled_files.read_grammar(language).decode()
