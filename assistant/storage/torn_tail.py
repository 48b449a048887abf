"""The end of a file that was being written when the power went.

A line that is not whole was never acknowledged. It is taken out of the file, so that the next line
does not grow onto it, and kept in a side file, because nothing of a record is thrown away.
"""

import os
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from assistant.storage.atomic import replace_file
from assistant.storage.filesystem import Disk

__all__ = ["TornTail", "find_tail", "set_aside"]

_BLOCK = 1 << 16


@dataclass(frozen=True, slots=True)
class TornTail:
    """What stood behind the last whole line."""

    data: bytes
    """The bytes themselves."""
    sha256: str
    """Their hash, which also names the side file."""


def find_tail(path: Path, disk: Disk) -> tuple[int, bytes]:
    """Return the length of the sound part of a file, and the bytes behind it (b"" when none).

    Behind the sound part lies what has no newline. A last line holding a zero byte lies there as
    well: canonical JSON has none, and a power cut can leave a hole where a page never arrived.

    Raises:
        OSError: the file cannot be read.
    """
    descriptor = disk.open(path, os.O_RDONLY)
    try:
        end = disk.size(descriptor)
        good, tail = _last_newline(disk, descriptor, end)
        if not tail:
            start, last = _last_newline(disk, descriptor, max(0, end - 1))
            if b"\0" in last:
                good, tail = start, last + b"\n"
    finally:
        disk.close(descriptor)
    return good, tail


def _last_newline(disk: Disk, descriptor: int, end: int) -> tuple[int, bytes]:
    """Return where the last line before `end` starts, and its bytes up to `end`."""
    tail = b""
    start = end
    while start > 0:
        length = min(_BLOCK, start)
        start -= length
        block = disk.read_at(descriptor, length, start)
        newline = block.rfind(b"\n")
        tail = block[newline + 1 :] + tail
        if newline >= 0:
            return start + newline + 1, tail
    return 0, tail


def set_aside(path: Path, aside: Path, disk: Disk) -> TornTail | None:
    """Move a torn tail of the file at `path` into the folder `aside`; None when there is none.

    The side file is on the disk before the tail is cut off: stopped between the two, the next call
    does the same again.

    Raises:
        OSError: the file cannot be read or cut.
        RecordError: the side file cannot be written.
    """
    good, data = find_tail(path, disk)
    if not data:
        return None
    tail = TornTail(data, sha256(data).hexdigest())
    if not disk.is_folder(aside):
        disk.make_folder(aside)
        disk.sync_folder(aside.parent)
    replace_file(aside / f"{tail.sha256}.torn", data, disk)
    descriptor = disk.open(path, os.O_RDWR)
    try:
        disk.truncate(descriptor, good)
        disk.sync(descriptor)
    finally:
        disk.close(descriptor)
    return tail
