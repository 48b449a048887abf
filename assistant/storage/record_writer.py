"""A record folder as its one writer sees it.

`DIR/` holds `record.jsonl`, `plan.toml` and `grammar.toml` (the exact bytes used),
`clips/<sha256>.flac`, and, after a crash, `aside/<sha256>.torn`.
"""

import contextlib
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType
from typing import Self

from filelock import FileLock

from assistant.errors import RecordError
from assistant.storage.appender import Appender
from assistant.storage.atomic import UNFINISHED, replace_file
from assistant.storage.clips import save_clip
from assistant.storage.filesystem import Disk, failure
from assistant.storage.lock import LOCK, hold
from assistant.storage.record_reader import (
    ASIDE,
    CLIPS,
    GRAMMAR,
    PLAN,
    RECORD,
    STAMPS,
    RecordReader,
)
from assistant.storage.torn_tail import TornTail, set_aside

__all__ = ["RecordFolder"]


class RecordFolder(RecordReader):
    """The only thing that writes a record; made by `create` or `open`, ended by `close`."""

    torn: TornTail | None
    """What `open` found behind the last whole line and set aside; to be noted in the chain."""

    def __init__(self, path: Path, disk: Disk, lock: FileLock, torn: TornTail | None) -> None:
        """Take over a locked, tidy folder; callers use `create` or `open`."""
        super().__init__(path, disk)
        self.torn = torn
        self._lock = lock
        self._appender = Appender(path / RECORD, disk)

    @classmethod
    def create(
        cls, path: Path, plan_bytes: bytes, grammar_bytes: bytes, disk: Disk | None = None
    ) -> Self:
        """Begin a record in a folder, which is made when it does not exist.

        Args:
            path: the folder.
            plan_bytes: the plan file that will be followed, byte for byte.
            grammar_bytes: the grammar file that will be used, byte for byte.
            disk: the system calls.

        Raises:
            RecordError: the folder holds a record, another plan or grammar, or cannot be written;
                what this call had made is taken away again.
        """
        disk = disk or Disk()
        with contextlib.ExitStack() as undo:
            try:
                _make_folders(path, disk, undo)
                lock = _hold_fresh(path, disk, undo)
                _refuse_existing(path)
                for name, data in ((PLAN, plan_bytes), (GRAMMAR, grammar_bytes)):
                    _place(path / name, data, disk, undo)
                _make_folders(path / CLIPS, disk, undo)
                _make_empty(path / RECORD, disk, undo)
                folder = cls(path, disk, lock, None)
            except OSError as error:
                raise failure("begin a record in", path, error) from error
            undo.pop_all()
        return folder

    @classmethod
    def open(cls, path: Path, disk: Disk | None = None) -> Self:
        """Continue a record; a torn last line is set aside first (see `torn`, `asides`).

        What a killed program was still writing is cleared away. Of the record itself only the end
        is looked at: read `lines` through `journal.chain.read` to check
        the record before adding to it. A record without any whole line is possible (the program
        stopped before the first entry) and is continued like any other.

        Raises:
            RecordError: no record there, another run is writing to it, or it cannot be written.
        """
        disk = disk or Disk()
        RecordReader(path, disk)
        with contextlib.ExitStack() as undo:
            lock = hold(path)
            undo.callback(lock.release)
            try:
                _sweep(path, disk)
                torn = set_aside(path / RECORD, path / ASIDE, disk)
                folder = cls(path, disk, lock, torn)
            except OSError as error:
                raise failure("continue the record in", path, error) from error
            undo.pop_all()
        return folder

    def append(self, line: bytes) -> None:
        """Add one line, newline included, and return when it is on the disk.

        Raises:
            ValueError: not exactly one line.
            RecordError: it could not be stored and nothing of it remains; calling again later with
                the same line is safe, and works once the disk does.
            RuntimeError: the folder was closed, so that another run may be writing to it.
        """
        if not self._lock.is_locked:
            raise RuntimeError("a closed record takes no more entries")
        self._appender.append(line)

    def lines(self) -> Iterator[bytes]:
        """Yield the stored lines in order, each without its newline.

        Raises:
            RecordError: the file cannot be read.
        """
        yield from self._lines(self._appender.length)

    def save_clip(self, pcm: bytes) -> str:
        """Store samples (mono, 16-bit) and return the clip's name when it is on the disk.

        Raises:
            ValueError: no samples, or half a sample.
            RecordError: the clip could not be stored.
        """
        return save_clip(self.path / CLIPS, pcm, self._disk)

    def close(self) -> None:
        """Let go of the file and the lock; everything appended is on the disk already."""
        self._appender.close()
        self._lock.release()

    def __enter__(self) -> Self:
        """Return the folder itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close it."""
        self.close()


def _sweep(path: Path, disk: Disk) -> None:
    """Remove the unfinished neighbours of whole files that a killed program left."""
    for folder in (path, path / CLIPS, path / ASIDE, path / STAMPS):
        for stray in sorted(folder.glob(f".*{UNFINISHED}")):
            disk.unlink(stray)


def _take_back(undo: contextlib.ExitStack, call: Callable[[Path], None], path: Path) -> None:
    """Arrange that `call(path)` is tried if the beginning of the record fails later on."""

    def attempt() -> None:
        with contextlib.suppress(OSError):
            call(path)

    undo.callback(attempt)


def _make_folders(path: Path, disk: Disk, undo: contextlib.ExitStack) -> None:
    """Make a folder and its missing parents, each on the disk."""
    if disk.is_folder(path):
        return
    _make_folders(path.parent, disk, undo)
    disk.make_folder(path)
    _take_back(undo, disk.remove_folder, path)
    disk.sync_folder(path.parent)


def _hold_fresh(path: Path, disk: Disk, undo: contextlib.ExitStack) -> FileLock:
    """Lock the folder; on failure later on, leave no lock file that was not there before."""
    existed = (path / LOCK).exists()
    lock = hold(path)
    if not existed:
        _take_back(undo, disk.unlink, path / LOCK)
    undo.callback(lock.release)
    return lock


def _refuse_existing(path: Path) -> None:
    """Refuse a folder whose record has begun; an empty file is what a crash at the start leaves."""
    record = path / RECORD
    if record.exists() and record.stat().st_size:
        raise RecordError(
            f"{path} already holds a record: resume that one, or choose another folder."
        )


def _place(path: Path, data: bytes, disk: Disk, undo: contextlib.ExitStack) -> None:
    """Write a file that may stand there already with the same bytes, but with no others."""
    if path.exists():
        if disk.read_file(path) != data:
            raise RecordError(f"{path} exists and is another file: choose another folder.")
        return
    _take_back(undo, disk.unlink, path)
    replace_file(path, data, disk)


def _make_empty(path: Path, disk: Disk, undo: contextlib.ExitStack) -> None:
    """Make the empty record file and see its name onto the disk."""
    existed = path.exists()
    descriptor = disk.open(path, os.O_RDWR | os.O_CREAT)
    if not existed:
        _take_back(undo, disk.unlink, path)
    try:
        disk.sync(descriptor)
    finally:
        disk.close(descriptor)
    disk.sync_folder(path.parent)
