"""The machine's clock is affirmed before a record rests on it."""

import os
import pty
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from assistant.journal.chain import read
from assistant.storage.record_reader import RecordReader

Run = Callable[..., CompletedProcess[str]]
WORDS = ("run", "bin", "--keyboard", "--silent", "--plain", "--engine", "embedded", "--into")
SHOWN = "This machine's clock: 20"


def at_a_terminal(record: Path, typed: str) -> tuple[int, str]:
    """Start a session at a terminal, type an answer and go away; exit code and output."""
    ours, theirs = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "assistant", *WORDS, str(record)],
        stdin=theirs,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        os.close(theirs)
        os.write(ours, typed.encode())
        assert process.stdout is not None
        shown = ""
        for line in process.stdout:
            shown += line
            if "record opened" in line:
                process.terminate()
                break
        code = process.wait(60)
        shown += process.stdout.read()
    os.close(ours)
    return code, shown


@pytest.mark.parametrize("answer", ["yes", "Y"])
def test_an_affirmed_clock_is_on_record(answer: str, tmp_path: Path, command: Run) -> None:
    """Typed at the terminal before the first entry, which holds it."""
    _, shown = at_a_terminal(tmp_path / "r", f"{answer}\n")
    assert SHOWN in shown
    assert "Are date, time, zone and synchronisation as they should be?" in shown
    first = next(read(RecordReader(tmp_path / "r").lines()))
    assert first.event["clock_affirmed"] == "yes"
    assert "affirmed: yes" in command("verify", tmp_path / "r").stdout


@pytest.mark.parametrize("answer", ["no", "", "yes but an hour late"])
def test_without_it_no_session_begins(answer: str, tmp_path: Path) -> None:
    """And nothing is left behind."""
    code, shown = at_a_terminal(tmp_path / "r", f"{answer}\n")
    assert (code, "the machine's clock was not affirmed" in shown) == (2, True)
    assert not (tmp_path / "r").exists()


def test_where_nobody_sits_at_a_terminal_nobody_is_asked(
    tmp_path: Path, process: Run, command: Run
) -> None:
    """The record says so."""
    done = process(*WORDS, tmp_path / "r")
    assert SHOWN in done.stdout
    assert "affirmed: not asked" in command("verify", tmp_path / "r").stdout
    again = process("run", "--resume", *WORDS[2:], tmp_path / "r")
    assert SHOWN in again.stdout
