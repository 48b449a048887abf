"""Opening a record for reading."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant.conformance import Told, follow, on_time, proved
from assistant.grammar.language import Language, recall_grammar
from assistant.journal.entry import Entry
from assistant.plan import Plan, parse_plan
from assistant.session.live import with_own_files
from assistant.storage.record_reader import RecordView


@dataclass(frozen=True, slots=True)
class OpenRecord:
    """A record folder with its own plan and grammar read."""

    view: RecordView
    plan: Plan
    language: Language

    def entries(self) -> Iterator[Entry]:
        """Read it from the first entry; plan and grammar are proved to be those it began with."""
        return with_own_files(self.view, proved(self.view.lines()))

    def told(self, entries: Iterable[Entry] | None = None) -> Iterator[Told]:
        """Retell it from the first entry, each proved to stand where and when it may.

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
    view = RecordView(path)
    plan = parse_plan(view.plan, str(path / "plan.toml"))
    language = recall_grammar(view.grammar, str(path / "grammar.toml"))
    return OpenRecord(view, plan, language)
