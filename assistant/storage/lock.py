"""One writer per record folder; readers need no lock."""

from pathlib import Path

from filelock import FileLock, Timeout

from assistant.errors import RecordError
from assistant.storage.filesystem import failure

__all__ = ["LOCK", "hold"]

LOCK = ".lock"
"""The side file that is locked: Windows would keep readers out of a locked record."""


def hold(folder: Path) -> FileLock:
    """Return the acquired lock of an existing folder; its `release` ends it, as does a kill.

    Raises:
        RecordError: another run holds it, or the folder cannot be written.
    """
    # Any thread may close the record; the lock belongs to the process.
    lock = FileLock(folder / LOCK, thread_local=False)
    try:
        lock.acquire(timeout=0)
    except Timeout as error:
        raise RecordError(
            f"Another run of the program is writing to {folder}: end that one, or choose another "
            "folder."
        ) from error
    except OSError as error:
        raise failure("write to", folder, error) from error
    return lock
