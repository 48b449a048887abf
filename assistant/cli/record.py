"""Opening a record for reading."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant.grammar.language import Language, recall_grammar
from assistant.plan import Plan, parse_plan
from assistant.replay import Told, on_time, retell
from assistant.storage.view import RecordView


@dataclass(frozen=True, slots=True)
class OpenRecord:
    """A record folder with its own plan and grammar read."""

    view: RecordView
    plan: Plan
    language: Language

    def told(self) -> Iterator[Told]:
        """Retell it from the first entry, each proved to stand where and when it may."""
        return on_time(retell(self.view.lines(), self.plan, self.language))


def open_record(path: Path) -> OpenRecord:
    """Open a record for reading.

    Raises:
        RecordError: there is none, or it cannot be read.
    """
    view = RecordView(path)
    plan = parse_plan(view.plan, str(path / "plan.toml"))
    language = recall_grammar(view.grammar, str(path / "grammar.toml"))
    return OpenRecord(view, plan, language)
