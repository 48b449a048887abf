"""Records of a few insertions, folded into pages, for the tests of the view."""

import importlib.util
from collections.abc import Callable, Sequence
from datetime import UTC, datetime

import pytest

from assistant.clock import ManualClock
from assistant.conformance import FoldedEntry, retell
from assistant.console.transcript import describe
from assistant.grammar import Language, parse_grammar
from assistant.plan import Plan, parse_plan
from assistant.procedure.enums import State
from assistant.procedure.model import begin
from assistant.storage import bundled_files
from assistant.testing import Departure, quick_record
from assistant.view.page_state import PageState, after, begin_page
from tests.memory_journal import MemoryJournal

START = datetime(2026, 3, 4, 8, tzinfo=UTC)
GRAMMAR = bundled_files.read_grammar("en")

Told = list[tuple[FoldedEntry, PageState]]
Tell = Callable[..., Told]


def shortened(name: str, locations: int) -> bytes:
    """Return a shipped plan with its first locations only, each step confirmed by itself."""
    whole = bundled_files.read_plan(name).replace(b'dialogue = "short"', b'dialogue = "full"')
    parts = whole.split(b"[[locations]]")
    return b"[[locations]]".join(parts[: locations + 1])


@pytest.fixture(scope="session")
def language() -> Language:
    """Return the shipped grammar."""
    return parse_grammar(GRAMMAR, "en.toml")


@pytest.fixture(scope="session")
def plan() -> Plan:
    """Return the shipped plan's first two locations."""
    return parse_plan(shortened("double-cone", 2), "plan.toml")


@pytest.fixture
def tell(language: Language) -> Tell:
    """Return a function that makes a record and returns each entry with the page after it."""

    def make(
        *departures: Departure,
        until: State | None = None,
        name: str = "double-cone",
        locations: int = 2,
        change: Sequence[tuple[bytes, bytes]] = (),
    ) -> Told:
        raw = shortened(name, locations)
        for old, new in change:
            assert old in raw
            raw = raw.replace(old, new)
        journal = MemoryJournal()
        clock = ManualClock(START)
        quick_record(journal, clock, raw, GRAMMAR, departures=departures, until=until)
        plan = parse_plan(raw, "plan.toml")
        page, found = begin_page(begin(plan), language), []
        for told in retell(journal.lines(), plan, language):
            page = after(page, told, language, describe(told.event))
            found.append((told, page))
        return found

    return make


collect_ignore = [] if importlib.util.find_spec("starlette") else ["test_site.py"]
"""The server's libraries are an extra."""
