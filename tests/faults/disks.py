"""Disks that fail on order, and one that is believed."""

import errno
import os
from collections.abc import Callable
from pathlib import Path

from assistant.storage.filesystem import Disk

CALLS = ("open", "write", "sync", "replace", "truncate", "make_folder", "read_file", "read_at")


class QuickDisk(Disk):
    """A disk that is believed: what survives a power cut is decided by cutting the file."""

    def sync(self, descriptor: int) -> None:
        """Do not wait for the medium; still fail on a closed descriptor."""
        self.size(descriptor)


class FailingDisk(Disk):
    """A disk whose calls fail on order; a failing write can still leave part of its bytes."""

    def __init__(self, fails: Callable[[str, int], bool], error: int = errno.EIO) -> None:
        """Fail the calls for which `fails(name, number)` is true.

        Args:
            fails: is asked with the call's name and its number, from 1, among those of its name.
            error: what the system is made to say.
        """
        self.counts = dict.fromkeys(CALLS, 0)
        self._fails = fails
        self._error = error

    def _pass(self, name: str) -> None:
        """Count a call and fail if it is its turn."""
        self.counts[name] += 1
        if self._fails(name, self.counts[name]):
            raise OSError(self._error, os.strerror(self._error))

    def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
        """Open, or fail."""
        self._pass("open")
        return super().open(path, flags, mode)

    def write(self, descriptor: int, data: bytes) -> int:
        """Write, or leave the first half of the bytes and fail."""
        try:
            self._pass("write")
        except OSError:
            os.write(descriptor, data[: len(data) // 2])
            raise
        return super().write(descriptor, data)

    def sync(self, descriptor: int) -> None:
        """Sync, or fail; skipping the real call keeps thousands of runs short."""
        self._pass("sync")
        self.size(descriptor)

    def replace(self, source: Path, target: Path) -> None:
        """Rename, or fail."""
        self._pass("replace")
        super().replace(source, target)

    def truncate(self, descriptor: int, length: int) -> None:
        """Cut, or fail."""
        self._pass("truncate")
        super().truncate(descriptor, length)

    def make_folder(self, path: Path) -> None:
        """Make, or fail."""
        self._pass("make_folder")
        super().make_folder(path)

    def read_file(self, path: Path) -> bytes:
        """Read, or fail."""
        self._pass("read_file")
        return super().read_file(path)

    def read_at(self, descriptor: int, length: int, offset: int) -> bytes:
        """Read, or fail."""
        self._pass("read_at")
        return super().read_at(descriptor, length, offset)


class ShortDisk(FailingDisk):
    """A disk that takes only half of a write, at the chosen places, and says so."""

    def write(self, descriptor: int, data: bytes) -> int:
        """Write all, or the first half."""
        self.counts["write"] += 1
        if self._fails("write", self.counts["write"]):
            data = data[: len(data) // 2]
        return os.write(descriptor, data)


def never(_name: str, _number: int) -> bool:
    """Fail no call."""
    return False


def only(name: str, number: int) -> Callable[[str, int], bool]:
    """Fail one call."""
    return lambda asked, count: (asked, count) == (name, number)


def from_then_on(name: str, number: int) -> Callable[[str, int], bool]:
    """Fail a call and every later one of its name, as a full disk does."""
    return lambda asked, count: asked == name and count >= number
