"""Writes a session's entries: seals each, stores it, and returns only when it is safely kept."""

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
    """Seals and stores entries, one after the other; keeps trying while the disk fails."""

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
        """Begin, or go on after `last`.

        Args:
            store: where lines are kept.
            clock: the time of each entry.
            language: the words of the prompts, which stand in the entry.
            last: the entry to go on from.
            trouble: called with the reason, once, when the store fails.
            wait: waits so many seconds before the next try.
            boot: names this start of the program; a fresh name if not given.
        """
        self._store = store
        self._clock = clock
        self._language = language
        self._boot = boot or uuid.uuid4().hex[:12]
        self._trouble = trouble
        self._wait = wait
        self.last = last
        self.troubled: tuple[str, float] | None = None
        """Reason and seconds of the last trouble, until somebody takes note and clears it."""

    def keep(self, event: Event, outcome: Outcome, by: str) -> Entry:
        """Put an event and what came of it on record; returns when both are on the disk."""
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
        """Repeat a write until it succeeds; everything else waits meanwhile."""
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
