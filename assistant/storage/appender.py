"""The one file that only grows: a line is either wholly on the disk or not in the file at all."""

import contextlib
import os
from pathlib import Path

from assistant.errors import RecordError
from assistant.storage.filesystem import Disk, failure

__all__ = ["MAX_LINE", "Appender", "require_one_line"]

MAX_LINE = 1 << 20
"""Bytes of the longest line, newline included; no honest entry comes near."""

_MARK = 4096  # bytes of the end kept to recognise the file when it comes back


def require_one_line(line: bytes) -> None:
    """Raise ValueError unless it is one line, newline included, of at most `MAX_LINE` bytes."""
    if line.find(b"\n") != len(line) - 1 or not 0 < len(line) <= MAX_LINE:
        raise ValueError("append takes one line of at most 1 MiB that ends in its newline")


class Appender:
    """Adds lines to an existing file that ends in a newline or is empty.

    After any failure the file is cut back to its last good length, and the next call opens it
    again by its name: a disk that was full, unplugged or mounted read-only can come back without
    a restart. A file that meanwhile became another one is refused.
    """

    def __init__(self, path: Path, disk: Disk) -> None:
        """Open the file.

        Raises:
            OSError: it cannot be opened or read.
        """
        self._path = path
        self._disk = disk
        self._untidy = False
        self._descriptor: int | None = disk.open(path, os.O_RDWR | os.O_APPEND)
        try:
            self._length = disk.size(self._descriptor)
            start = max(0, self._length - _MARK)
            self._mark = disk.read_at(self._descriptor, self._length - start, start)
        except OSError:
            self.close()
            raise

    @property
    def length(self) -> int:
        """Bytes that are safely stored."""
        return self._length

    def append(self, line: bytes) -> None:
        """Write one line in one call and return when it is on the disk.

        Raises:
            ValueError: not exactly one line, or longer than `MAX_LINE`.
            RecordError: it could not be stored; nothing of it remains, and a later call may work.
        """
        require_one_line(line)
        try:
            self._store(self._attached(), line)
        except OSError as error:
            self._roll_back()
            raise failure("store an entry in", self._path, error) from error
        self._length += len(line)
        self._mark = (self._mark + line)[-_MARK:]

    def close(self) -> None:
        """Close the file; a later `append` would open it again."""
        if self._descriptor is not None:
            descriptor, self._descriptor = self._descriptor, None
            with contextlib.suppress(OSError):  # what was appended is synced already
                self._disk.close(descriptor)

    def _store(self, descriptor: int, line: bytes) -> None:
        """Write and sync, or raise OSError."""
        self._untidy = True
        if self._disk.write(descriptor, line) != len(line):
            raise OSError(0, "the disk took only a part of the line")
        self._disk.sync(descriptor)
        self._untidy = False

    def _attached(self) -> int:
        """Return the descriptor of the file that stands under the name, fit to be appended to."""
        if self._descriptor is not None and not self._is_ours(self._descriptor):
            self.close()
        if self._descriptor is None:
            self._descriptor = self._disk.open(self._path, os.O_RDWR | os.O_APPEND)
            self._recognise(self._descriptor)
        size = self._disk.size(self._descriptor)
        if size != self._length:
            self._tidy(self._descriptor, size)
        return self._descriptor

    def _is_ours(self, descriptor: int) -> bool:
        """Tell whether the open file still stands under its name."""
        try:
            return self._disk.same_file(descriptor, self._path)
        except FileNotFoundError:
            return False

    def _recognise(self, descriptor: int) -> None:
        """Refuse a file that does not hold what was stored."""
        start = self._length - len(self._mark)
        if self._disk.read_at(descriptor, len(self._mark), start) != self._mark:
            self.close()
            message = f"{self._path} is no longer the file that was written; bring that file back."
            raise RecordError(message)

    def _tidy(self, descriptor: int, size: int) -> None:
        """Cut off what a failed call of ours left; refuse what somebody else did."""
        if not self._untidy or size < self._length:
            change = "longer" if size > self._length else "shorter"
            raise RecordError(
                f"{self._path} was made {change} by another program; end that program and resume."
            )
        self._disk.truncate(descriptor, self._length)
        self._disk.sync(descriptor)
        self._untidy = False

    def _roll_back(self) -> None:
        """Leave nothing of a failed line behind, as far as the disk lets us; then let go."""
        if self._descriptor is not None and self._untidy:
            with contextlib.suppress(OSError):
                self._disk.truncate(self._descriptor, self._length)
                self._disk.sync(self._descriptor)
                self._untidy = False
        self.close()
