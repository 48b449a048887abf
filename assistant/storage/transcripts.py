"""The typed texts of a record's spoken remarks, in `transcripts.jsonl` beside it."""

from pathlib import Path

from assistant.journal.transcript import Transcript, read_transcripts
from assistant.storage.atomic import replace_file
from assistant.storage.filesystem import Disk, failure
from assistant.storage.lock import hold

__all__ = ["TRANSCRIPTS", "add_transcript", "load_transcripts"]

TRANSCRIPTS = "transcripts.jsonl"


def load_transcripts(folder: Path, disk: Disk | None = None) -> tuple[Transcript, ...]:
    """Return the texts under a record, oldest first; none where nobody has typed any.

    Args:
        folder: the record's folder.
        disk: the system calls.

    Raises:
        RecordBroken: the file was changed.
        RecordError: it cannot be read.
    """
    return tuple(read_transcripts(_bytes(folder, disk or Disk()).splitlines(keepends=True)))


def add_transcript(folder: Path, transcript: Transcript, disk: Disk | None = None) -> None:
    """Put a text under a record and return when it is on the disk.

    Args:
        folder: the record's folder.
        transcript: made over an entry of the record and the last of `load_transcripts`.
        disk: the system calls.

    Raises:
        RecordBroken: the texts there were changed, or this one does not follow them.
        RecordError: a session or another person is at work on the record, or it cannot be written;
            the texts that were there still are.
    """
    disk = disk or Disk()
    with hold(folder):
        data = _bytes(folder, disk) + transcript.line()
        tuple(read_transcripts(data.splitlines(keepends=True)))
        replace_file(folder / TRANSCRIPTS, data, disk)


def _bytes(folder: Path, disk: Disk) -> bytes:
    """Return the file's bytes, b"" when there is none."""
    path = folder / TRANSCRIPTS
    try:
        return disk.read_file(path)
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise failure("read", path, error) from error
