"""The chain: every entry carries the hash of the one before, so none can change unnoticed.

`seal_line` makes the next entry and its line, `read` checks a whole record while passing its
entries on. A chain does not show that its end was cut off, nor that it was written anew from the
start: for that there are head codes (`assistant.journal.head_code`) and signatures.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from hashlib import sha256

from pydantic import JsonValue, ValidationError

from assistant.errors import RecordBroken
from assistant.journal.canonical import canonical, parse_canonical, spell_like
from assistant.journal.entry import FIRST_PREV, METHOD, Entry
from assistant.ports import Instant

__all__ = ["line", "read", "seal", "seal_line"]

_ADVICE = "keep this copy as it is and compare it with another copy of the record"
_DIGEST = re.compile(r"[0-9a-f]{64}")
_FIELDS = frozenset(Entry.model_fields)


def seal_line(
    previous: Entry | None,
    *,
    at: Instant,
    boot: str,
    by: str,
    event: Mapping[str, JsonValue],
    outcome: Mapping[str, JsonValue],
) -> tuple[Entry, bytes]:
    """Return the entry that follows `previous` (None: the first of the record), and its line.

    Args:
        previous: the last entry of the record so far.
        at: when it happened, by both clocks.
        boot: identifies this start of the program.
        by: the person answerable.
        event: what happened; no floats, quantities as strings.
        outcome: what the program did with it; the same rule.

    Raises:
        TypeError: a value that has no place on record, such as a float.
        ValueError: an integer beyond 2**53 - 1, a malformed time, half a surrogate pair.
    """
    # The canonical form sorts the fields. The hash stands between these two halves, so each is
    # spelled once, for the hash and for the line.
    before: dict[str, JsonValue] = {"boot": boot, "by": by, "event": dict(event)}
    behind: dict[str, JsonValue] = {
        "method": METHOD,
        "mono": str(at.mono_ns),
        "outcome": dict(outcome),
        "prev": previous.hash if previous else FIRST_PREV,
        "seq": previous.seq + 1 if previous else 1,
        "utc": at.utc,
    }
    head, tail = canonical(before)[:-1], canonical(behind)[1:]
    own = sha256(head + b"," + tail).hexdigest()
    entry = Entry.model_validate({**before, **behind, "hash": own})
    return entry, head + f',"hash":"{own}",'.encode() + tail + b"\n"


def seal(
    previous: Entry | None,
    *,
    at: Instant,
    boot: str,
    by: str,
    event: Mapping[str, JsonValue],
    outcome: Mapping[str, JsonValue],
) -> Entry:
    """Return the entry alone; arguments and errors as for `seal_line`."""
    return seal_line(previous, at=at, boot=boot, by=by, event=event, outcome=outcome)[0]


def line(entry: Entry) -> bytes:
    """Return the entry as its line of the record, newline included."""
    return canonical(entry.plain()) + b"\n"


def read(lines: Iterable[bytes], after: Entry | None = None) -> Iterator[Entry]:
    """Yield the entries of a record, each checked before it is passed on.

    Checked are the spelling (RFC 8785, byte for byte), the fields, the place in the record, the
    link to the entry before and the entry's own hash. Nothing is kept: memory stays flat.

    Args:
        lines: the record's lines in order, with or without their newline.
        after: the entry that these lines follow, for a record that has grown since it was read.

    Raises:
        RecordBroken: names the first entry that does not hold, and what is wrong with it.
    """
    prev = after.hash if after else FIRST_PREV
    for seq, raw in enumerate(lines, start=after.seq + 1 if after else 1):
        try:
            entry = _check(raw.removesuffix(b"\n"), seq, prev)
        except (ValueError, RecursionError) as error:
            fault = "it is nested too deeply" if isinstance(error, RecursionError) else error
            message = f"Entry {seq} of the record is not sound: {fault}; {_ADVICE}."
            raise RecordBroken(message) from error
        prev = entry.hash
        yield entry


def _check(raw: bytes, seq: int, prev: str) -> Entry:
    """Return the entry on one line, or raise ValueError saying what is wrong with it."""
    text, fields = _parse(raw)
    if not isinstance(fields, dict) or fields.keys() != _FIELDS:
        raise ValueError("it does not have the fields of an entry")
    own = fields["hash"]
    if not isinstance(own, str) or _DIGEST.fullmatch(own) is None:
        raise ValueError("its hash is not 64 hexadecimal digits")
    spell = spell_like(text)
    if spell(fields) != text:
        raise ValueError("it is not spelled in canonical form")
    if fields["seq"] != seq:
        raise ValueError(f"it carries the number {fields['seq']}")
    if fields["prev"] != prev:
        raise ValueError("it does not follow the entry before it")
    if sha256(_unhashed(text, fields, own, spell)).hexdigest() != own:
        raise ValueError("its hash does not match its content")
    try:
        return Entry.model_validate(fields)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        raise ValueError(f"its field {first['loc'][0]} is not allowed: {first['msg']}") from error


def _parse(raw: bytes) -> tuple[str, JsonValue]:
    """Return the text of a line and what it spells."""
    try:
        text = raw.decode()
        return text, parse_canonical(text)
    except ValueError as error:
        raise ValueError(f"it is not a line of a record ({error})") from error


def _unhashed(
    text: str, fields: dict[str, JsonValue], own: str, spell: Callable[[JsonValue], str]
) -> bytes:
    """Return the canonical bytes of an entry without its hash.

    In canonical form the hash stands between "event" and "method", so it can be cut out of the
    text instead of spelling all of it again; unless something within the event looks the same.
    """
    piece = f',"hash":"{own}","method":'
    if text.count(piece) == 1:
        return text.replace(piece, ',"method":').encode()
    return spell({name: value for name, value in fields.items() if name != "hash"}).encode()
