"""A record told again: its events folded anew, and compared with what it says came of them.

Pure: takes lines, gives entries with the session as it stood after each. The proof is the fold:
the machine is driven over the events once more, and every state, effect and person it arrives at
must be the one on record.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from pydantic import JsonValue, ValidationError

from assistant.errors import RecordBroken
from assistant.grammar.language import Language
from assistant.grammar.wording import sentence
from assistant.journal.chain import read
from assistant.journal.entry import Entry
from assistant.plan.model import Plan
from assistant.procedure.effects import Effect, Say, plain
from assistant.procedure.events import Event, Opened, load
from assistant.procedure.machine import Outcome, step
from assistant.procedure.model import Session, begin
from assistant.procedure.views import answerable


@dataclass(frozen=True, slots=True)
class Told:
    """One entry, what it held, and how the session stood after it."""

    entry: Entry
    event: Event
    outcome: Outcome


def outcome_on_record(outcome: Outcome, language: Language) -> dict[str, JsonValue]:
    """What is written beside an event: the state reached, what was said, what was done.

    Args:
        outcome: of the event.
        language: the words of the prompts.
    """
    return {
        "state": outcome.session.state.value,
        "effects": [_with_words(effect, language) for effect in outcome.effects],
    }


def _with_words(effect: Effect, language: Language) -> JsonValue:
    words: dict[str, JsonValue] = {}
    if isinstance(effect, Say):
        words["text"] = sentence(language, effect, spoken=True)
    return {**plain(effect), **words}


def retell(lines: Iterable[bytes], plan: Plan, language: Language) -> Iterator[Told]:
    """Check and fold a record, entry by entry.

    Args:
        lines: of the record.
        plan: read from the exact bytes kept in the record's folder.
        language: read from the exact bytes kept there.

    Raises:
        RecordBroken: the chain does not hold, an event is unknown, or what is on record as its
            outcome is not what the procedure makes of it; names the entry.
    """
    session = begin(plan)
    for entry in read(lines):
        try:
            event = load(entry.event)
        except ValidationError as fault:
            first = fault.errors(include_url=False)[0]
            raise RecordBroken(
                f"Entry {entry.seq} holds no known event: {first['msg'].lower()}."
            ) from None
        if isinstance(event, Opened) is not (entry.seq == 1):
            raise RecordBroken(f"Entry {entry.seq}: a record is opened once, by its first entry.")
        by = answerable(session, event)
        outcome = step(session, event)
        expected = outcome_on_record(outcome, language)
        if entry.outcome != expected or entry.by != by:
            raise RecordBroken(_mismatch(entry, expected, by))
        yield Told(entry, event, outcome)
        session = outcome.session


def _mismatch(entry: Entry, expected: dict[str, JsonValue], by: str) -> str:
    if entry.by != by:
        return f"Entry {entry.seq} names {entry.by!r} where {by!r} was operating."
    if entry.outcome.get("state") != expected["state"]:
        found = entry.outcome.get("state")
        return (
            f"Entry {entry.seq} claims the state {found!r}; the procedure leads to "
            f"{expected['state']!r} from what stands before it."
        )
    return f"Entry {entry.seq} claims effects that the procedure does not ask for there."


def fold(lines: Iterable[bytes], plan: Plan, language: Language) -> tuple[Session, Entry | None]:
    """The session at the end of a record, and its last entry.

    Raises:
        RecordBroken: as for `retell`.
    """
    session, last = begin(plan), None
    for told in retell(lines, plan, language):
        session, last = told.outcome.session, told.entry
    return session, last
