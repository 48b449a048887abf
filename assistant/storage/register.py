"""The register of a station: one file for all its sessions, kept apart from their records.

Every opening, resumption, head and end of a session becomes one line, chained like the lines of a
record (`journal.chain`). A record that is rewritten, cut off or removed no longer agrees with it.
It shows this only against whoever cannot write the register too.
"""

import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from filelock import FileLock, Timeout
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from assistant.errors import InputError, RecordBroken, RecordError
from assistant.journal.chain import read, seal_line
from assistant.journal.entry import Digest, Entry
from assistant.journal.head_code import head_code, parse
from assistant.ports import Instant
from assistant.storage.appender import MAX_LINE
from assistant.storage.atomic import write_whole
from assistant.storage.filesystem import Disk, failure
from assistant.storage.torn_tail import set_aside

__all__ = ["Ledger", "Note", "Register", "What", "read_register", "sessions"]

What = Literal["opened", "resumed", "head", "ended"]
_PATIENCE_S = 5.0


class Note(BaseModel):
    """What the register says of a record at one moment."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    type: What
    session: Digest
    """Hash of the first entry of its record, by which a session is known."""
    count: int = Field(ge=1)
    """Entries in the record then."""
    head: Digest
    """Hash of the last of them."""
    folder: str
    """Where the record stood."""


@dataclass(slots=True)
class Session:
    """All that a register says of one session."""

    session: str
    began: str
    """UTC of its first note."""
    folder: str
    heads: dict[int, str] = field(default_factory=dict)
    """Hash of the record by count of entries."""
    ended: bool = False


@dataclass(slots=True)
class Ledger:
    """A register as a whole."""

    sessions: dict[str, Session] = field(default_factory=dict)
    """By the hash of their first entry, in order."""
    lines: int = 0
    head: str = ""
    """Hash of its last line."""


class Register:
    """Adds notes to the file; several programs may do so in turn."""

    def __init__(self, path: Path, disk: Disk | None = None) -> None:
        """Make the file if there is none, and see that it can be written.

        Raises:
            InputError: its folder is not there, or it cannot be written.
        """
        self._path = path
        self._disk = disk or Disk()
        if not path.parent.is_dir():
            raise InputError(f"There is no folder {path.parent} for the register: make it first.")
        try:
            self._disk.close(self._disk.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND))
            self._disk.sync_folder(path.parent)
        except OSError as error:
            raise failure("write the register", path, error) from error

    def add(self, note: Note, at: Instant, boot: str, by: str) -> None:
        """Add a note and return when it is on the disk.

        Args:
            note: what is noted.
            at: when, by both clocks.
            boot: identifies the program start.
            by: the person answerable.

        Raises:
            RecordError: it cannot be written, or another program holds it for too long.
            RecordBroken: its last line is none of a register.
        """
        try:
            self._path.stat()  # the lock would make the folder of a medium that was taken away
            with FileLock(f"{self._path}.lock", timeout=_PATIENCE_S):
                set_aside(self._path, self._path.parent / "aside", self._disk)
                event = note.model_dump(mode="json")
                _, line = seal_line(self._last(), at=at, boot=boot, by=by, event=event, outcome={})
                self._append(line)
        except Timeout as error:
            raise RecordError(f"Another program holds the register {self._path}.") from error
        except OSError as error:
            raise failure("write the register", self._path, error) from error

    def _last(self) -> Entry | None:
        """Return the last line; the whole chain is proved by whoever reads it (`sessions`)."""
        with self._path.open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(0, size - MAX_LINE))
            lines = file.read().splitlines()
        if not lines:
            return None
        try:
            return Entry.model_validate_json(lines[-1])
        except ValidationError as error:
            raise RecordBroken(
                f"The last line of {self._path} is none of a register: look for another copy."
            ) from error

    def _append(self, line: bytes) -> None:
        descriptor = self._disk.open(self._path, os.O_WRONLY | os.O_APPEND)
        try:
            write_whole(self._disk, descriptor, line)
            self._disk.sync(descriptor)
        finally:
            self._disk.close(descriptor)


def sessions(path: Path) -> dict[str, Session]:
    """Return the sessions of a register by the hash of their first entry, in order.

    Raises:
        InputError, RecordBroken: as for `read_register`.
    """
    return read_register(path).sessions


def read_register(path: Path, code: str = "") -> Ledger:
    """Read a register and prove its chain.

    Args:
        path: of the file.
        code: a head code of the register that was noted elsewhere, "" for none.

    Raises:
        InputError: there is none, or it cannot be read; or the code is none.
        RecordBroken: it was changed; names the line, or says that the code does not match.
    """
    ledger = Ledger()
    for entry in _watched(path, code):
        _add(ledger.sessions, entry, path)
        ledger.lines, ledger.head = entry.seq, entry.hash
    return ledger


def _add(found: dict[str, Session], entry: Entry, path: Path) -> None:
    """Add a line to the session that it is about."""
    try:
        note = Note.model_validate(entry.event)
    except ValidationError as error:
        raise RecordBroken(f"Line {entry.seq} of {path} is none of a register.") from error
    new = Session(note.session, entry.utc, note.folder)
    session = found.setdefault(note.session, new)
    # The first head of a count stands: a record sealed anew and resumed notes another.
    session.heads.setdefault(note.count, note.head)
    session.folder = note.folder
    session.ended |= note.type == "ended"


def _watched(path: Path, code: str) -> Iterator[Entry]:
    """Yield its lines; refuse it if the code is not its own."""
    seq, text = parse(code) if code else (0, "")
    last = 0
    for entry in _entries(path):
        last = entry.seq
        if last == seq and head_code(seq, entry.hash).text != text:
            raise RecordBroken(
                f"Line {seq} of the register {path} does not lead to the head code {text}: it was "
                "written anew, or is another station's."
            )
        yield entry
    if last < seq:
        raise RecordBroken(
            f"The register {path} ends at line {last}, but the head code {text} was given at line "
            f"{seq}: its end was cut off; look for another copy."
        )


def _entries(path: Path) -> Iterator[Entry]:
    """Yield its lines, each proved to follow the one before; a torn last one is no line yet."""
    try:
        with path.open("rb") as file:
            yield from read(line for line in file if line.endswith(b"\n"))
    except OSError as error:
        raise InputError(f"The register {path} cannot be read: name the file.") from error
    except RecordBroken as error:
        raise RecordBroken(f"The register {path}: {error}") from error
