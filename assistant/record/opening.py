"""Opening a record for reading, with its plan and grammar."""

import contextlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from assistant.conformance import FoldedEntry, follow, on_time, proved
from assistant.errors import RecordBroken
from assistant.grammar.language import Language, recall_grammar
from assistant.journal.chain import read
from assistant.journal.entry import Entry
from assistant.plan import Plan, parse_plan
from assistant.procedure.events import Opened, load
from assistant.record.identity import fingerprint
from assistant.storage.record_reader import RecordReader

__all__ = ["OpenRecord", "open_record", "same_files", "with_own_files"]


@dataclass(frozen=True, slots=True)
class OpenRecord:
    """A record folder whose own plan and grammar have been read."""

    view: RecordReader
    plan: Plan
    language: Language

    def entries(self) -> Iterator[Entry]:
        """Read it from the first entry; plan and grammar are checked against the first entry."""
        return with_own_files(self.view, proved(self.view.lines(), self.plan, self.language))

    def first_hash(self) -> str:
        """Return the hash of the first entry, "" if there is none.

        Raises:
            RecordBroken: the first entry is invalid.
        """
        first = next(read(self.view.lines()), None)
        return first.hash if first else ""

    def told(self, entries: Iterable[Entry] | None = None) -> Iterator[FoldedEntry]:
        """Fold it from the first entry, checking order and time of each entry.

        Args:
            entries: its entries, if the caller also iterates over them.
        """
        read = self.entries() if entries is None else entries
        return on_time(follow(read, self.plan, self.language))


def open_record(path: Path) -> OpenRecord:
    """Open a record for reading.

    Raises:
        RecordError: there is no record, or it cannot be read.
    """
    view = RecordReader(path)
    plan = parse_plan(view.plan, str(path / "plan.toml"))
    language = recall_grammar(view.grammar, str(path / "grammar.toml"))
    return OpenRecord(view, plan, language)


def with_own_files(view: RecordReader, entries: Iterable[Entry]) -> Iterator[Entry]:
    """Yield the entries; verify plan and grammar before anything is derived from them.

    With a wrong grammar the derived effects would differ, and the error would blame an entry
    instead of the file.

    Raises:
        RecordBroken: one of the files is not the one that was used.
    """
    for entry in entries:
        if entry.seq == 1:
            with contextlib.suppress(
                ValidationError
            ):  # the caller that folds the entries reports the fault
                opened = load(entry.event)
                if isinstance(opened, Opened):
                    same_files(view, opened)
        yield entry


def same_files(view: RecordReader, opened: Opened) -> None:
    """Verify that plan and grammar in a record's folder are those that were used.

    Raises:
        RecordBroken: one of them is not.
    """
    for name, data, recorded in (
        ("plan.toml", view.plan, opened.plan_sha256),
        ("grammar.toml", view.grammar, opened.grammar_sha256),
    ):
        if fingerprint(data) != recorded:
            raise RecordBroken(
                f"{view.path / name} is not the file that was used: look for another copy."
            )
