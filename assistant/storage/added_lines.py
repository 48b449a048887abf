"""Files beside a record to which whole lines are added: signatures, texts of remarks."""

from collections.abc import Callable, Iterable
from pathlib import Path

from assistant.storage.atomic import replace_file
from assistant.storage.filesystem import Disk, failure
from assistant.storage.lock import hold

__all__ = ["add_line", "lines_of"]


def lines_of(path: Path, disk: Disk) -> list[bytes]:
    """Return the lines of the file, each with its newline; none when there is no file.

    Raises:
        RecordError: it cannot be read.
    """
    return _bytes(path, disk).splitlines(keepends=True)


def add_line(
    path: Path, line: bytes, read: Callable[[Iterable[bytes]], Iterable[object]], disk: Disk
) -> None:
    """Add a line and return when it is on the disk.

    Args:
        path: of the file, in the record's folder.
        line: with its newline.
        read: proves all lines, the new one among them.
        disk: the system calls.

    Raises:
        RecordBroken: `read` refuses the lines.
        RecordError: somebody else is at work on the record, or the file cannot be written; the
            lines that were there still are.
    """
    with hold(path.parent):
        data = _bytes(path, disk) + line
        tuple(read(data.splitlines(keepends=True)))
        replace_file(path, data, disk)


def _bytes(path: Path, disk: Disk) -> bytes:
    try:
        return disk.read_file(path)
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise failure("read", path, error) from error
