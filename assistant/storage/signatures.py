"""The signatures under a record, in `signatures.jsonl` beside it."""

from pathlib import Path

from assistant.journal.signing import Signature, read_signatures
from assistant.storage.atomic import replace_file
from assistant.storage.filesystem import Disk, failure
from assistant.storage.lock import hold

__all__ = ["SIGNATURES", "add_signature", "load_signatures"]

SIGNATURES = "signatures.jsonl"


def load_signatures(folder: Path, disk: Disk | None = None) -> tuple[Signature, ...]:
    """Return the signatures under a record, oldest first; none when nobody has signed.

    Args:
        folder: the record's folder.
        disk: the system calls.

    Raises:
        RecordBroken: the file was changed.
        RecordError: it cannot be read.
    """
    return tuple(read_signatures(_bytes(folder, disk or Disk()).splitlines(keepends=True)))


def add_signature(folder: Path, signature: Signature, disk: Disk | None = None) -> None:
    """Put a signature under a record and return when it is on the disk.

    Args:
        folder: the record's folder.
        signature: made over the record and the last of `load_signatures`.
        disk: the system calls.

    Raises:
        RecordBroken: the signatures there were changed, or this one does not follow them.
        RecordError: a session or another signer is at work on the record, or it cannot be written;
            the signatures that were there still are.
    """
    disk = disk or Disk()
    with hold(folder):
        data = _bytes(folder, disk) + signature.line()
        tuple(read_signatures(data.splitlines(keepends=True)))
        replace_file(folder / SIGNATURES, data, disk)


def _bytes(folder: Path, disk: Disk) -> bytes:
    """Return the file's bytes, b"" when there is none."""
    path = folder / SIGNATURES
    try:
        return disk.read_file(path)
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise failure("read", path, error) from error
