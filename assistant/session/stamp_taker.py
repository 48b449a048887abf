"""Has the heads of a session stamped while it goes on; the session never waits for it.

What the authority did not answer is asked again at the next head. What is still missing at the end
follows from the record itself, so that `time-stamp` can ask for it later, even after a kill.
"""

import importlib
import queue
import threading
from pathlib import Path

from assistant.errors import AssistantError
from assistant.journal.entry import Entry
from assistant.procedure.events import Event
from assistant.procedure.machine import Outcome
from assistant.record.authority import Authority
from assistant.record.moments import STAMPED, moment
from assistant.storage.time_stamps import file_time_stamp

PATIENCE_S = 5.0
"""How long the end of a session waits for the last answer."""


class StampTaker:
    """An observer of the session; asks in a thread of its own."""

    def __init__(self, authority: Authority, folder: Path) -> None:
        """Wait for the first entry.

        Args:
            authority: whom to ask.
            folder: of the record, which the session holds open for writing until `finish`.
        """
        importlib.import_module("rfc3161_client")  # now, not while the first prompt is spoken
        self._authority = authority
        self._folder = folder
        self._new: queue.SimpleQueue[tuple[int, str] | None] = queue.SimpleQueue()
        self._filing = threading.Lock()
        self._over = False
        self._waiting: list[tuple[int, str]] = []
        self._asked = self.kept = 0
        self.fault = ""
        """Why the last question was not answered; "" if it was."""
        self._thread = threading.Thread(target=self._work, name="time stamps", daemon=True)
        self._thread.start()

    @property
    def missing(self) -> int:
        """Heads whose stamp is not kept yet."""
        return self._asked - self.kept

    def entered(self, entry: Entry, event: Event, outcome: Outcome, said: str) -> None:  # noqa: ARG002 - signature of an observer
        """Ask for a stamp if it is the moment for one; the entry is already on the disk."""
        if moment(entry, event, outcome) in STAMPED:
            self._asked += 1
            self._new.put((entry.seq, entry.hash))

    def trouble(self, reason: str) -> None:
        """Do nothing: trouble with the record is not stamped."""

    def finish(self, patience_s: float = PATIENCE_S) -> None:
        """Let the last questions be answered; from then on nothing is written any more.

        Args:
            patience_s: how long to wait for it.
        """
        self._new.put(None)
        self._thread.join(patience_s)
        with self._filing:
            self._over = True

    def _work(self) -> None:
        while True:
            asked = self._new.get()
            if asked is not None:
                self._waiting.append(asked)
            if asked is None or self._new.empty():
                self._ask_all()
            if asked is None:
                return

    def _ask_all(self) -> None:
        """Ask for what waits, in order, until the authority fails."""
        while self._waiting and not self._over:
            try:
                self._ask(*self._waiting[0])
            except AssistantError as fault:
                self.fault = str(fault)
                return
            self.fault = ""
            self._waiting.pop(0)

    def _ask(self, count: int, head: str) -> None:
        response, _ = self._authority.stamp(count, head)
        with self._filing:
            if not self._over:
                file_time_stamp(self._folder, count, response)
                self.kept += 1
