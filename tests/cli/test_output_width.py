"""What the commands print fits 80 and 120 columns, and breaks between words only."""

import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

import pytest

from assistant.clock import ManualClock
from assistant.storage.record_writer import RecordFolder
from assistant.testing import quick_record


class Ended(Protocol):
    """A command that has ended."""

    returncode: int
    stdout: str


Run = Callable[..., Ended]
Make = Callable[[str], Path]
NAMES = ("plan", "grammar")
ESCAPES = re.compile(r"\x1b\[[0-9;]*m")

COMMANDS: tuple[tuple[str, ...], ...] = (
    ("check", "double-cone"),
    ("check", "bin", "--details"),
    ("phrases",),
    ("replay", "deviations", "--speed", "1000000"),
    ("verify", "whole"),
    ("verify", "deviations", "--require", "live"),
    ("evaluate", "whole", "lab.csv"),
    ("compare", "whole=lab.csv", "other=lab2.csv"),
    ("export", "open", "--as", "json", "-o", "open.json"),
    ("keys", "Ada Lindqvist", "--into", ".", "--passphrase-file", "secret"),
)


@pytest.fixture
def desk(taken: Make, command: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with records and sheets, which the commands run in."""
    monkeypatch.chdir(tmp_path)
    for kind in ("whole", "deviations", "open"):
        taken(kind)
    plan, grammar = ((tmp_path / "whole" / f"{each}.toml").read_bytes() for each in NAMES)
    plan = re.sub(rb'batch = ".*"', b'batch = "OV-77"', plan)
    with RecordFolder.create(tmp_path / "other", plan, grammar) as record:
        quick_record(record, ManualClock(datetime(2026, 3, 5, 8, tzinfo=UTC)), plan, grammar)
    for kind, sheet in (("whole", "lab.csv"), ("other", "lab2.csv")):
        assert command("assays", kind, "-o", sheet, "--seed", 3).returncode == 0
    (tmp_path / "secret").write_text("correct horse battery\n", "utf-8")
    return tmp_path


def shown(words: tuple[str, ...], command: Run, desk: Path) -> str:
    """Return what a command prints, without colours; what it wrote is taken away again."""
    text = ESCAPES.sub("", command(*words).stdout)
    for path in (*desk.glob("Ada*"), *desk.glob("open.*")):
        path.unlink()
    return text


@pytest.mark.slow
def test_nothing_is_wider_than_the_terminal_or_broken_within_a_word(
    command: Run, desk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a terminal lines end between words; in a file each sentence is one line."""
    for words in COMMANDS:
        monkeypatch.delenv("FORCE_COLOR", raising=False)
        monkeypatch.setenv("COLUMNS", "1000")
        whole = shown(words, command, desk)
        assert whole.strip(), words
        for width in (80, 120):
            monkeypatch.setenv("COLUMNS", str(width))
            monkeypatch.setenv("FORCE_COLOR", "1")
            narrow = shown(words, command, desk)
            assert set(narrow.split()) <= set(whole.split()), words
            assert max(map(len, narrow.splitlines())) <= width, words
