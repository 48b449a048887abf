"""Opening a record for reading, with the plan and the grammar that were used."""

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
    """A record folder with its own plan and grammar read."""

    view: RecordReader
    plan: Plan
    language: Language

    def entries(self) -> Iterator[Entry]:
        """Read it from the first entry; plan and grammar are proved to be those it began with."""
        return with_own_files(self.view, proved(self.view.lines(), self.plan, self.language))

    def first_hash(self) -> str:
        """Return the hash of the first entry, "" without any.

        Raises:
            RecordBroken: the first entry is not sound.
        """
        first = next(read(self.view.lines()), None)
        return first.hash if first else ""

    def told(self, entries: Iterable[Entry] | None = None) -> Iterator[FoldedEntry]:
        """Fold it from the first entry, each proved to stand where and when it may.

        Args:
            entries: its entries where somebody else looks at them too.
        """
        read = self.entries() if entries is None else entries
        return on_time(follow(read, self.plan, self.language))


def open_record(path: Path) -> OpenRecord:
    """Open a record for reading.

    Raises:
        RecordError: there is none, or it cannot be read.
    """
    view = RecordReader(path)
    plan = parse_plan(view.plan, str(path / "plan.toml"))
    language = recall_grammar(view.grammar, str(path / "grammar.toml"))
    return OpenRecord(view, plan, language)


def with_own_files(view: RecordReader, entries: Iterable[Entry]) -> Iterator[Entry]:
    """Pass entries on; prove plan and grammar before anything is derived from them.

    Another grammar than the one used would show as effects that nobody asked for, and the entry
    would be blamed instead of the file.

    Raises:
        RecordBroken: one of the files is not the one that was used.
    """
    for entry in entries:
        if entry.seq == 1:
            with contextlib.suppress(ValidationError):  # whoever folds the entries names the fault
                opened = load(entry.event)
                if isinstance(opened, Opened):
                    same_files(view, opened)
        yield entry


def same_files(view: RecordReader, opened: Opened) -> None:
    """Prove that plan and grammar in a record's folder are those that were used.

    Raises:
        RecordBroken: one is not.
    """
    for name, data, recorded in (
        ("plan.toml", view.plan, opened.plan_sha256),
        ("grammar.toml", view.grammar, opened.grammar_sha256),
    ):
        if fingerprint(data) != recorded:
            raise RecordBroken(
                f"{view.path / name} is not the file that was used: look for another copy."
            )
