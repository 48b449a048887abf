"""Old schemas, read through upgrades; one older schema is invented here."""

import pytest
from pydantic import JsonValue

from assistant.errors import RecordBroken, RecordError
from assistant.journal.chain import seal
from assistant.journal.entry import Entry
from assistant.journal.upcast import Fields, schema_of, upcast
from assistant.ports import Instant


def chain(*events: dict[str, JsonValue]) -> list[Entry]:
    """Return a chain of these events."""
    entries: list[Entry] = []
    for event in events:
        previous = entries[-1] if entries else None
        at = Instant("2026-03-04T05:06:07.000000Z", len(entries))
        entries.append(seal(previous, at=at, boot="b", by="", event=event, outcome={}))
    return entries


def rename(fields: Fields, beside: str) -> Fields:
    """Invented step from schema 1 to 2: what was said stood under "said"; a word is added."""
    event = dict(fields["event"])  # type: ignore[arg-type]  # an object in every schema
    if "said" in event:
        event["text"] = event.pop("said")
    return {**fields, "event": {**event, "via": beside}}


def split(fields: Fields, _beside: str) -> Fields:
    """Invented step from schema 2 to 3: the outcome names its state."""
    return {**fields, "outcome": {"state": "unknown"}}


OLD = chain({"name": "began", "schema": 1}, {"name": "heard", "said": "affirm"})
UPGRADES = {1: rename, 2: split}


def test_an_old_record_goes_through_every_step() -> None:
    """Event and outcome are those of the present schema; the place in the chain is the old one."""
    upgraded = list(upcast(OLD, UPGRADES, 3, "plan"))
    assert upgraded[1].event == {"name": "heard", "text": "affirm", "via": "plan"}
    assert upgraded[1].outcome == {"state": "unknown"}
    assert [entry.hash for entry in upgraded] == [entry.hash for entry in OLD]
    assert "said" in OLD[1].event


def test_a_present_record_is_untouched() -> None:
    """The very same entries come out."""
    assert all(a is b for a, b in zip(upcast(OLD, UPGRADES, 1, "plan"), OLD, strict=True))
    assert list(upcast([], UPGRADES, 3, "plan")) == []


def test_a_later_step_starts_where_the_record_is() -> None:
    """A record of schema 2 does not go through the step from 1."""
    [first] = upcast(chain({"schema": 2}), UPGRADES, 3, "plan")
    assert first.event == {"schema": 2}
    assert first.outcome == {"state": "unknown"}


def test_a_newer_record_is_refused() -> None:
    """The person is told to use a newer program."""
    with pytest.raises(RecordError, match=r"schema 4.* up to 3: .*later"):
        list(upcast(chain({"schema": 4}), UPGRADES, 3, "plan"))


def test_a_missing_step_is_refused() -> None:
    """A gap in the upgrades is no way through."""
    with pytest.raises(RecordError, match="schema 1: "):
        list(upcast(OLD, {2: split}, 3, "plan"))


@pytest.mark.parametrize("schema", [None, "1", 0, True, [1]])
def test_a_record_without_a_schema_is_broken(schema: JsonValue) -> None:
    """Where it does not start with its schema, it does not start."""
    with pytest.raises(RecordBroken, match="Entry 1"):
        schema_of(chain({"schema": schema})[0])


def test_an_upgrade_cannot_move_an_entry() -> None:
    """The chain stays what was written."""
    with pytest.raises(RuntimeError, match="place in the chain"):
        list(upcast(OLD, {1: lambda fields, _beside: {**fields, "seq": 7}}, 2, ""))
