"""Notes a session in the register of the station: its opening, heads and end."""

from pathlib import Path

from assistant.errors import RecordError
from assistant.journal.chain import read
from assistant.journal.entry import Entry
from assistant.ports import Instant
from assistant.procedure.effects import Close, TellHead
from assistant.procedure.events import Event, Resumed
from assistant.procedure.machine import Outcome
from assistant.storage.record_reader import RecordReader
from assistant.storage.register import Note, Register, What


class RegisterWriter:
    """An observer of the session. A register that fails later does not stop the work.

    What could not be noted waits for the next time.
    """

    def __init__(self, register: Register, folder: Path) -> None:
        """Take over a register that can be written.

        Args:
            register: of the station.
            folder: of the record.
        """
        self._register = register
        self._folder = folder
        self._session = ""
        self._waiting: list[tuple[Note, Instant, str, str]] = []

    @property
    def missing(self) -> int:
        """Notes that could not be written so far."""
        return len(self._waiting)

    def entered(self, entry: Entry, event: Event, outcome: Outcome, said: str) -> None:  # noqa: ARG002 - as an observer
        """Note what belongs there; the entry is on the record's disk already."""
        what = _what(entry, event, outcome)
        if what is None:
            return
        if not self._session:
            self._session = next(read(RecordReader(self._folder).lines())).hash
        note = Note(
            type=what,
            session=self._session,
            count=entry.seq,
            head=entry.hash,
            folder=str(self._folder.resolve()),
        )
        at = Instant(entry.utc, int(entry.mono))
        self._waiting.append((note, at, entry.boot, entry.by))
        self._write()

    def trouble(self, reason: str) -> None:
        """Take notice of trouble with the record: nothing to note."""

    def _write(self) -> None:
        while self._waiting:
            try:
                self._register.add(*self._waiting[0])
            except RecordError:
                return
            self._waiting.pop(0)


def _what(entry: Entry, event: Event, outcome: Outcome) -> What | None:
    """Return what an entry is to the register, None if nothing."""
    if entry.seq == 1:
        return "opened"
    if isinstance(event, Resumed):
        return "resumed"
    if any(isinstance(effect, Close) for effect in outcome.effects):
        return "ended"
    if any(isinstance(effect, TellHead) for effect in outcome.effects):
        return "head"
    return None
