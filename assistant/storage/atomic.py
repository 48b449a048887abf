"""Atomic replacement of files: a reader sees the old bytes or the new, never a mixture."""

import contextlib
import os
from pathlib import Path

from assistant.storage.filesystem import Disk, failure

__all__ = ["UNFINISHED", "replace_file", "write_whole"]

UNFINISHED = ".tmp"
"""Suffix of a temporary file."""


def replace_file(
    path: Path, data: bytes, disk: Disk | None = None, *, secret: bool = False
) -> None:
    """Put `data` at `path` in one step and return when it is on the disk.

    The bytes go to a hidden neighbour (`.NAME.tmp`), are synced, and take the name; then the folder
    is synced. A neighbour left by a power cut is overwritten by the next call.

    Args:
        path: the file; its folder exists.
        data: the whole of its bytes.
        disk: the system calls.
        secret: keep other accounts from reading it.

    Raises:
        RecordError: it could not be done; at `path` stands the old file or the whole of the new
            one, and nothing beside it.
    """
    disk = disk or Disk()
    temporary = path.with_name(f".{path.name}{UNFINISHED}")
    try:
        _write_synced(disk, temporary, data, 0o600 if secret else 0o644)
        disk.replace(temporary, path)
        disk.sync_folder(path.parent)
    except OSError as error:
        with contextlib.suppress(OSError):
            disk.unlink(temporary)
        raise failure("write", path, error) from error


def _write_synced(disk: Disk, path: Path, data: bytes, mode: int) -> None:
    """Write a file from its start and sync it."""
    descriptor = disk.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
    try:
        write_whole(disk, descriptor, data)
        disk.sync(descriptor)
    finally:
        disk.close(descriptor)


def write_whole(disk: Disk, descriptor: int, data: bytes) -> None:
    """Write all of `data`, in as many calls as the system wants; for files nobody reads yet."""
    rest = memoryview(data)
    while rest:
        taken = disk.write(descriptor, bytes(rest))
        if taken == 0:
            raise OSError(0, "the disk takes no bytes")
        rest = rest[taken:]
