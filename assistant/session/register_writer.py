"""Writes a session to the register of the station: its opening, heads and end."""

from pathlib import Path

from assistant.errors import RecordError
from assistant.journal.chain import read
from assistant.journal.entry import Entry
from assistant.ports import Instant
from assistant.procedure.events import Event
from assistant.procedure.machine import Outcome
from assistant.record.moments import moment
from assistant.storage.record_reader import RecordReader
from assistant.storage.register import Note, Register


class RegisterWriter:
    """An observer of the session. A register that fails later does not stop the session.

    Notes that could not be written are retried at the next entry.
    """

    def __init__(self, register: Register, folder: Path) -> None:
        """Use a writable register.

        Args:
            register: register of the station.
            folder: folder of the record.
        """
        self._register = register
        self._folder = folder
        self._session = ""
        self._waiting: list[tuple[Note, Instant, str, str]] = []

    @property
    def missing(self) -> int:
        """Notes not yet written."""
        return len(self._waiting)

    def entered(self, entry: Entry, event: Event, outcome: Outcome, said: str) -> None:  # noqa: ARG002 - signature of an observer
        """Write a note if needed; the entry is already on the record's disk."""
        what = moment(entry, event, outcome)
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
        """Do nothing: trouble with the record is not registered."""

    def _write(self) -> None:
        while self._waiting:
            try:
                self._register.add(*self._waiting[0])
            except RecordError:
                return
            self._waiting.pop(0)
