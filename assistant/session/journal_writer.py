"""Writes a session's entries: seals and stores each, and returns only when it is on disk."""

import uuid
from collections.abc import Callable

from assistant.conformance import outcome_on_record
from assistant.errors import RecordError
from assistant.grammar.language import Language
from assistant.journal.chain import seal_line
from assistant.journal.entry import Entry
from assistant.ports import Clock, JournalStore
from assistant.procedure.events import Event, dump
from assistant.procedure.machine import Outcome


class JournalWriter:
    """Seals and stores entries in order; retries while the disk fails."""

    def __init__(
        self,
        store: JournalStore,
        clock: Clock,
        language: Language,
        *,
        last: Entry | None = None,
        trouble: Callable[[str], None],
        wait: Callable[[float], None],
        boot: str = "",
    ) -> None:
        """Start a record, or continue after `last`.

        Args:
            store: storage of the lines.
            clock: source of each entry's time.
            language: words of the prompts, which are part of the entry.
            last: the entry to continue from.
            trouble: called once with the reason when the store fails.
            wait: waits the given seconds before the next attempt.
            boot: identifies this start of the program; by default a new name.
        """
        self._store = store
        self._clock = clock
        self._language = language
        self._boot = boot or uuid.uuid4().hex[:12]
        self._trouble = trouble
        self._wait = wait
        self.last = last
        self.troubled: tuple[str, float] | None = None
        """Reason and duration of the last failure, until the caller reads and clears it."""

    def keep(self, event: Event, outcome: Outcome, by: str) -> Entry:
        """Record an event and its outcome; returns when both are on the disk."""
        entry, line = seal_line(
            self.last,
            at=self._clock.now(),
            boot=self._boot,
            by=by,
            event=dump(event),
            outcome=outcome_on_record(outcome, self._language),
        )
        self.insist(lambda: self._store.append(line))
        self.last = entry
        return entry

    def insist(self, store: Callable[[], None]) -> None:
        """Retry a write until it succeeds; everything else waits."""
        began = self._clock.now().mono_ns
        reason = ""
        while True:
            try:
                store()
            except RecordError as fault:
                if not reason:
                    reason = str(fault)
                    self._trouble(reason)
                self._wait(1.0)
            else:
                break
        if reason:
            self.troubled = (reason, (self._clock.now().mono_ns - began) / 1e9)
