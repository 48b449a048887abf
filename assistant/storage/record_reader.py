"""A record folder as a reader sees it: nothing here writes, and nothing needs the lock."""

from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

from assistant.errors import RecordBroken, RecordError
from assistant.storage.appender import MAX_LINE
from assistant.storage.clips import load_clip
from assistant.storage.filesystem import Disk, failure
from assistant.storage.lock import LOCK
from assistant.storage.torn_tail import TornTail, find_tail

__all__ = ["RecordReader"]

RECORD = "record.jsonl"
PLAN = "plan.toml"
GRAMMAR = "grammar.toml"
CLIPS = "clips"
ASIDE = "aside"
STAMPS = "time-stamps"

_FILES = (RECORD, PLAN, GRAMMAR, "signatures.jsonl", "transcripts.jsonl", LOCK)


class RecordReader:
    """Reads a record that may still be growing, may have stopped in mid-line, may be damaged."""

    def __init__(self, path: Path, disk: Disk | None = None) -> None:
        """Look into a folder.

        Args:
            path: the folder.
            disk: the system calls.

        Raises:
            RecordError: there is no record in it, or it may not be looked into.
        """
        self.path = path
        self._disk = disk or Disk()
        try:
            found = (path / RECORD).is_file()
        except OSError as error:
            raise failure("look into", path, error) from error
        if not found:
            raise RecordError(f"There is no record in {path}: name the folder that holds {RECORD}.")

    @property
    def plan(self) -> bytes:
        """The exact bytes of the plan that was followed; RecordError when they cannot be read."""
        return self._read(self.path / PLAN)

    @property
    def grammar(self) -> bytes:
        """The exact bytes of the grammar that was used; RecordError when they cannot be read."""
        return self._read(self.path / GRAMMAR)

    def lines(self) -> Iterator[bytes]:
        """Yield the whole lines in order, each without its newline; memory stays flat.

        Raises:
            RecordBroken: after the last whole line, when the file ends in the middle of one.
            RecordError: the file cannot be read.
        """
        yield from self._lines(None)

    def tail(self) -> TornTail | None:
        """Return what stands behind the last whole line, or None; RecordError when unreadable."""
        path = self.path / RECORD
        try:
            _, data = find_tail(path, self._disk)
        except OSError as error:
            raise failure("read", path, error) from error
        return TornTail(data, sha256(data).hexdigest()) if data else None

    def asides(self) -> tuple[TornTail, ...]:
        """Return every torn tail that was ever set aside, in the order of their hashes.

        Raises:
            RecordBroken: a side file does not hold what its name says.
            RecordError: a side file cannot be read.
        """
        tails = []
        for path in sorted((self.path / ASIDE).glob("*.torn")):
            data = self._read(path)
            if sha256(data).hexdigest() != path.stem:
                raise RecordBroken(f"The side file {path} was changed: look for another copy.")
            tails.append(TornTail(data, path.stem))
        return tuple(tails)

    def clip(self, name: str) -> bytes:
        """Return the samples of a clip (mono, 16-bit), proved unchanged.

        Raises:
            RecordBroken: it is missing or was changed.
            RecordError: it cannot be read.
        """
        return load_clip(self.path / CLIPS, name, self._disk)

    def strangers(self) -> tuple[str, ...]:
        """Return the files in the folder that are no part of a record, by their relative paths."""
        found = (p.relative_to(self.path) for p in sorted(self.path.rglob("*")) if not p.is_dir())
        return tuple(path.as_posix() for path in found if not _belongs(path))

    def _lines(self, limit: int | None) -> Iterator[bytes]:
        """Yield the lines of the first `limit` bytes (None: of the whole file)."""
        path = self.path / RECORD
        seen = 0
        try:
            with path.open("rb") as file:
                while (limit is None or seen < limit) and (raw := file.readline(MAX_LINE)):
                    if not raw.endswith(b"\n"):
                        raise RecordBroken(
                            f"{path} stops in the middle of a line: resume the session to set that "
                            "line aside, or compare with another copy."
                        )
                    seen += len(raw)
                    yield raw[:-1]
        except OSError as error:
            raise failure("read", path, error) from error

    def _read(self, path: Path) -> bytes:
        """Return a whole file of the folder."""
        try:
            return self._disk.read_file(path)
        except OSError as error:
            raise failure("read", path, error) from error


def _belongs(path: Path) -> bool:
    """Tell whether a record has such a file; `path` is relative to its folder."""
    match path.parts:
        case (name,):
            return name in _FILES
        case (folder, name):
            return (folder, Path(name).suffix) in (
                (CLIPS, ".flac"),
                (ASIDE, ".torn"),
                (STAMPS, ".tsr"),
            )
        case _:
            return False
