"""What is noted outside the record: every insertion in either dialogue, nothing that was asked."""

from datetime import UTC, datetime

import pytest

from assistant.clock import ManualClock
from assistant.conformance import retell
from assistant.grammar.language import parse_grammar
from assistant.plan import parse_plan
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Meaning
from assistant.record.moments import moment
from assistant.storage import bundled_files
from assistant.testing import Departure, quick_record
from tests.dialogue import full
from tests.memory_journal import MemoryJournal

GRAMMAR = bundled_files.read_grammar("en")
SHORT = bundled_files.read_plan("double-cone")


@pytest.mark.parametrize("plan", [full("double-cone"), SHORT], ids=["full", "short"])
def test_every_insertion_is_noted(plan: bytes) -> None:
    """Opening, a head after each of ten insertions, end; a code that was asked for is not."""
    departures = []
    if plan is SHORT:
        departures = [Departure(State.ENTERING, Meaning(intent=Intent.HEAD_CODE))]
    journal = MemoryJournal()
    quick_record(
        journal,
        ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC)),
        plan,
        GRAMMAR,
        departures=departures,
    )
    told = retell(journal.lines(), parse_plan(plan, "plan"), parse_grammar(GRAMMAR, "en"))
    noted = [moment(one.entry, one.event, one.outcome) for one in told]
    assert [each for each in noted if each] == ["opened", *["head"] * 10, "ended"]
