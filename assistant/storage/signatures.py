"""The signatures under a record, in `signatures.jsonl` beside it."""

from pathlib import Path

from assistant.journal.signing import Signature, read_signatures
from assistant.storage.added_lines import add_line, lines_of
from assistant.storage.filesystem import Disk

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
    return tuple(read_signatures(lines_of(folder / SIGNATURES, disk or Disk())))


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
    add_line(folder / SIGNATURES, signature.line(), read_signatures, disk or Disk())
