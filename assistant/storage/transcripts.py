"""The typed texts of a record's spoken remarks, in `transcripts.jsonl` beside it."""

from pathlib import Path

from assistant.journal.transcript import Transcript, read_transcripts
from assistant.storage.added_lines import add_line, lines_of
from assistant.storage.filesystem import Disk

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
    return tuple(read_transcripts(lines_of(folder / TRANSCRIPTS, disk or Disk())))


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
    add_line(folder / TRANSCRIPTS, transcript.line(), read_transcripts, disk or Disk())
