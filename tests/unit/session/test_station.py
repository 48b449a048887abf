"""What the first entry says about program, machine and clock."""

import getpass
import hashlib
import platform
import re
from pathlib import Path

import pytest

import assistant
from assistant.ports import EngineFacts
from assistant.session import station


def a_program(folder: Path, text: str) -> None:
    """Put a `timedatectl` of our own on the path."""
    made = folder / "timedatectl"
    made.write_text(f"#!/bin/sh\n{text}\n", "utf-8")
    made.chmod(0o755)


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        ("echo yes", "yes"),
        ("echo no", "no"),
        ("echo maybe", "unknown"),
        ("exit 1", "unknown"),
        ("exec sleep 5", "unknown"),
    ],
)
def test_the_system_is_asked_whether_its_clock_is_synchronised(
    text: str, answer: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its answer is taken; anything else, or none in time, is "unknown"."""
    a_program(tmp_path, text)
    monkeypatch.setenv("PATH", f"{tmp_path}:/usr/bin:/bin")
    monkeypatch.setattr(station, "_PATIENCE_S", 0.3)
    assert station.clock_synchronised() == answer


def test_a_system_that_cannot_be_asked_is_unknown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the program nothing is claimed."""
    monkeypatch.setenv("PATH", str(tmp_path))
    assert station.clock_synchronised() == "unknown"


def test_the_machine_names_itself() -> None:
    """Host and account are the system's; the offset is that of its time zone."""
    here = station.this_station()
    assert here.host == platform.node()
    assert here.account == getpass.getuser()
    assert re.fullmatch(r"[+-]\d\d:\d\d", here.utc_offset)


def test_an_account_without_a_name_is_unknown(monkeypatch: pytest.MonkeyPatch) -> None:
    """A number without an entry in the system's table of accounts has no name."""

    def nobody() -> str:
        raise OSError

    monkeypatch.setattr(getpass, "getuser", nobody)
    assert station.this_station().account == "unknown"


def test_the_program_is_hashed_as_it_is_installed() -> None:
    """Over names and contents of its files, without compiled ones, in the order of their names."""
    root = Path(assistant.__file__).parent
    total = hashlib.sha256()
    files = (path for path in root.rglob("*") if path.is_file() and path.suffix != ".pyc")
    for path in sorted(files, key=lambda path: path.relative_to(root).as_posix()):
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
        total.update(f"{path.relative_to(root).as_posix()}\0{digest}\n".encode())
    assert station.program_sha256() == total.hexdigest()
    facts = EngineFacts("e", "2", "m", "ab")
    assert station.identity(facts) == {
        "engine_version": "2",
        "model": "m",
        "model_sha256": "ab",
        "program_sha256": total.hexdigest(),
    }


def test_the_clock_is_shown_before_the_work() -> None:
    """Date, time, zone and whether it is synchronised, in one line."""
    here = station.Station("bench", "ada", "+01:00", "no")
    said = here.clock_line("2026-03-04T05:06:07.891011Z")
    assert said.startswith(
        "This machine's clock: 2026-03-04 05:06:07 UTC, time zone +01:00, synchronised: no."
    )
