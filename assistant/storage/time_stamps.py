"""The time stamps of a record: answers of an authority (RFC 3161) as it gave them, one file each.

A file is named after the entry that it stamps and its number there, `time-stamps/000360-1.tsr`, so
that any other tool for time stamps can be pointed at it.
"""

import contextlib
import re
from dataclasses import dataclass
from pathlib import Path

from assistant.storage.atomic import replace_file
from assistant.storage.filesystem import Disk, failure
from assistant.storage.lock import hold
from assistant.storage.record_reader import STAMPS

__all__ = ["TimeStampFile", "add_time_stamp", "file_time_stamp", "load_time_stamps"]

_NAME = re.compile(r"([0-9]{6,12})-([0-9]{1,3})\.tsr", re.ASCII)


@dataclass(frozen=True, slots=True)
class TimeStampFile:
    """One answer of an authority."""

    name: str
    count: int
    """Entries of the record that it stamps."""
    response: bytes
    """DER, a TimeStampResp of RFC 3161."""


def load_time_stamps(folder: Path, disk: Disk | None = None) -> tuple[TimeStampFile, ...]:
    """Return the time stamps of a record by entry and number; none when it was never stamped.

    Args:
        folder: the record's folder.
        disk: the system calls.

    Raises:
        RecordError: one cannot be read.
    """
    disk = disk or Disk()
    found = []
    for path in sorted((folder / STAMPS).glob("*.tsr")):
        if match := _NAME.fullmatch(path.name):
            try:
                response = disk.read_file(path)
            except OSError as error:
                raise failure("read", path, error) from error
            found.append(TimeStampFile(path.name, int(match[1]), response))
    return tuple(found)


def add_time_stamp(folder: Path, count: int, response: bytes, disk: Disk | None = None) -> str:
    """Put a time stamp beside a record; return its name when it is on the disk.

    Args:
        folder: the record's folder.
        count: entries of the record that it stamps.
        response: as the authority gave it, checked.
        disk: the system calls.

    Raises:
        RecordError: a session or a signer is at work on the record, or it cannot be written; the
            stamps that were there still are.
    """
    with hold(folder):
        return file_time_stamp(folder, count, response, disk)


def file_time_stamp(folder: Path, count: int, response: bytes, disk: Disk | None = None) -> str:
    """Do the same for whoever holds the record already: the session itself.

    Raises:
        RecordError: it cannot be written; the stamps that were there still are.
    """
    disk = disk or Disk()
    place = folder / STAMPS
    try:
        with contextlib.suppress(FileExistsError):
            disk.make_folder(place)
    except OSError as error:
        raise failure("make", place, error) from error
    number = 1 + sum(one.count == count for one in load_time_stamps(folder, disk))
    name = f"{count:06d}-{number}.tsr"
    replace_file(place / name, response, disk)
    return name
