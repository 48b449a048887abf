"""Old records, read as if the present program had written them.

The first entry of a record says in its event under "schema" which schema the record follows. For
every schema but the present one there is one upgrade, a function from an entry's fields in that
schema to its fields in the next, which also sees what lies beside the record. The chain is checked
before, on the bytes as they were written:
`seq`, `prev` and `hash` of an upgraded entry stay those of the line, and an upgrade may not touch
them.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import TypeVar

from pydantic import JsonValue

from assistant.errors import RecordBroken, RecordError
from assistant.journal.entry import Entry

__all__ = ["Fields", "Upgrade", "schema_of", "upcast"]

Fields = dict[str, JsonValue]
Beside = TypeVar("Beside")
"""What lies beside a record: its plan and grammar, for the upgrades of this program."""
Upgrade = Callable[[Fields, Beside], Fields]
_FIXED = ("seq", "prev", "hash", "method")


def schema_of(first: Entry) -> int:
    """Return the schema that a record follows.

    Args:
        first: the first entry of the record.

    Raises:
        RecordBroken: it does not say.
    """
    schema = first.event.get("schema")
    if type(schema) is not int or schema < 1:
        raise RecordBroken(
            "Entry 1 does not say which schema the record follows: it is not the beginning of a "
            "record; look for another copy."
        )
    return schema


def upcast(
    entries: Iterable[Entry], upgrades: Mapping[int, Upgrade[Beside]], present: int, beside: Beside
) -> Iterator[Entry]:
    """Yield the entries of a record in the present schema; those of a present one untouched.

    Args:
        entries: in order, already checked (`assistant.journal.chain.read`).
        upgrades: from each older schema to the next, by the number of the older one.
        present: the number of the present schema.
        beside: is handed to the upgrades.

    Raises:
        RecordBroken: the record does not say which schema it follows.
        RecordError: it follows a schema from which no way leads to the present one.
    """
    steps: list[Upgrade[Beside]] | None = None
    for entry in entries:
        if steps is None:
            steps = _steps(schema_of(entry), upgrades, present)
        yield _apply(entry, steps, beside) if steps else entry


def _steps(
    schema: int, upgrades: Mapping[int, Upgrade[Beside]], present: int
) -> list[Upgrade[Beside]]:
    """Return the upgrades to go through, in order."""
    if schema > present:
        raise RecordError(
            f"The record follows schema {schema}, and this program knows up to {present}: read it "
            "with the version that wrote it or a later one."
        )
    missing = [number for number in range(schema, present) if number not in upgrades]
    if missing:
        raise RecordError(
            f"This program cannot read records of schema {missing[0]}: read it with the version "
            "that wrote it."
        )
    return [upgrades[number] for number in range(schema, present)]


def _apply(entry: Entry, steps: Iterable[Upgrade[Beside]], beside: Beside) -> Entry:
    """Return an entry after every upgrade, with its place in the chain unchanged."""
    fields = entry.plain()
    for step in steps:
        fields = step(dict(fields), beside)
    upgraded = Entry.model_validate(fields)
    if any(getattr(upgraded, name) != getattr(entry, name) for name in _FIXED):
        raise RuntimeError("an upgrade changed an entry's place in the chain")
    return upgraded
