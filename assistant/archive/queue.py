"""Records that wait because the database did not answer; one file per user, one line per record."""

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

from filelock import FileLock
from pydantic import BaseModel, ConfigDict, ValidationError

from assistant.errors import InputError
from assistant.storage.atomic import replace_file

__all__ = ["Queue", "Waiting"]

NAME: Final = "archive-queue.jsonl"


class Waiting(BaseModel):
    """One record to be added, with all that was said about it; paths are absolute."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    archive: str
    record: Path
    sheet: Path | None = None
    unit: str | None = None
    partial: bool = False
    keys: Path | None = None
    station_register: Path | None = None
    authority: Path | None = None


class Queue:
    """The file of waiting records."""

    def __init__(self, folder: Path) -> None:
        """Take the queue in a user's folder."""
        self.path = folder / NAME

    def waiting(self, archive: str) -> tuple[Waiting, ...]:
        """Return what waits for an archive, in order.

        Raises:
            InputError: the file cannot be read, or holds something else.
        """
        return tuple(one for one in self._all() if one.archive == archive)

    def put(self, more: Sequence[Waiting]) -> None:
        """Add records; one that waits already waits once.

        Raises:
            InputError: the file cannot be read.
            RecordError: the file cannot be written.
        """
        if more:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._change(lambda there: [*dict.fromkeys((*there, *more))])

    def drop(self, done: Sequence[Waiting]) -> None:
        """Take out records that were added; RecordError when it cannot be written."""
        if done and self.path.exists():
            self._change(lambda there: [one for one in there if one not in done])

    def _change(self, change: Callable[[list[Waiting]], list[Waiting]]) -> None:
        with FileLock(f"{self.path}.lock"):
            lines = [f"{one.model_dump_json()}\n" for one in change(self._all())]
            replace_file(self.path, "".join(lines).encode())

    def _all(self) -> list[Waiting]:
        try:
            lines = self.path.read_bytes().splitlines()
            return [Waiting.model_validate(json.loads(line)) for line in lines]
        except FileNotFoundError:
            return []
        except OSError as fault:
            raise InputError(f"The queue {self.path} cannot be read: {fault.strerror}.") from None
        except (ValueError, ValidationError):
            raise InputError(
                f"The queue {self.path} holds a line that is none of it: take that line out."
            ) from None
