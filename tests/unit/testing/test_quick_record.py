"""A record made without sound is a real one: it proves itself, and errs where it is told to."""

from datetime import UTC, datetime

import pytest

from assistant.clock import ManualClock
from assistant.conformance import fold
from assistant.grammar.language import parse_grammar
from assistant.plan import parse_plan
from assistant.procedure.enums import Intent, Kind, State
from assistant.procedure.events import DeviceLost, Meaning, Resumed
from assistant.procedure.model import Session
from assistant.storage import bundled_files
from assistant.testing import Departure, quick_record
from tests.memory_journal import MemoryJournal

GRAMMAR = bundled_files.read_grammar("en")
START = datetime(2026, 3, 4, 8, tzinfo=UTC)


def record(
    *departures: Departure, plan: str = "double-cone", until: State | None = None
) -> Session:
    """Make a record, prove it, and return the session it tells of."""
    journal, raw = MemoryJournal(), bundled_files.read_plan(plan)
    made = quick_record(
        journal, ManualClock(START), raw, GRAMMAR, departures=departures, until=until
    )
    told, _ = fold(journal.lines(), parse_plan(raw, plan), parse_grammar(GRAMMAR, "en"))
    assert told == made
    return made


@pytest.mark.parametrize("plan", ["double-cone", "bin", "v-blender"])
def test_the_shipped_plans_are_worked_through_to_the_signature(plan: str) -> None:
    """Every vial is filled and nothing departs from the plan."""
    made = record(plan=plan)
    assert made.state is State.CLOSED
    assert {sample.status.value for sample in made.progress.samples} == {"full"}
    assert made.deviations == ()


def test_every_kind_of_departure_leaves_its_mark() -> None:
    """Time that passes, a phrase and an event each work where and when they are asked for."""
    made = record(
        Departure(State.FILLING, 45.0, visit=2),
        Departure(State.STOWING, DeviceLost(device="speaker", reason="unplugged")),
        Departure(State.OPENING, Meaning(intent=Intent.NOTE_SPILL), visit=7),
    )
    assert [d.kind for d in made.deviations] == [Kind.OVERRUN, Kind.DEVICE_LOST, Kind.SPILL]
    assert made.deviations[0].vials == (2,)
    assert all(d.status == "accepted" for d in made.deviations)


def test_a_break_of_the_program_starts_the_timers_anew() -> None:
    """After a break in front of an open port the insertion goes on and the record proves itself."""
    broken = Resumed(software="later", engine="typed", microphone="none", speaker="none")
    made = record(Departure(State.FILLING, broken))
    assert made.state is State.CLOSED


def test_a_record_can_break_off_anywhere() -> None:
    """What was done until then stays."""
    made = record(until=State.WITHDRAWING)
    assert made.state is State.WITHDRAWING
    assert {sample.status.value for sample in made.progress.samples} == {"taken", "planned"}


def test_a_circle_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A session that does not come to an end is an error of the test that asked for it."""
    monkeypatch.setattr("assistant.testing.MOST_EVENTS", 20)
    with pytest.raises(RuntimeError, match="still stands in"):
        record()
