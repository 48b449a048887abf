"""Sealing and reading: what is sealed reads back, and nothing else reads."""

import json
from collections.abc import Callable
from hashlib import sha256

import pytest
import rfc8785
from pydantic import JsonValue

from assistant.errors import RecordBroken
from assistant.journal.chain import line, read, seal, seal_line
from assistant.journal.entry import FIRST_PREV, Entry
from assistant.ports import Instant


def make(count: int) -> list[Entry]:
    """Return a chain of invented entries."""
    entries: list[Entry] = []
    for number in range(count):
        entries.append(
            seal(
                entries[-1] if entries else None,
                at=Instant(f"2026-03-04T05:06:07.{number:06d}Z", 9_007_199_254_740_993 + number),
                boot="b1",
                by="J\u00fcrgen Beispiel",
                event={"name": "heard", "text": "bottom port open", "hash": "no", "n": number},
                outcome={"say": ["Bottom port open."], "prev": {"hash": None}},
            )
        )
    return entries


def forge(entry: Entry, **changes: object) -> bytes:
    """Return a line with changed fields and a hash that fits them, spelled canonically."""
    fields = {**entry.plain(), **changes}
    fields.pop("hash")
    own = sha256(rfc8785.dumps(fields)).hexdigest()  # type: ignore[arg-type]  # any object here
    return rfc8785.dumps({**fields, "hash": own})  # type: ignore[dict-item]  # any object here


def test_sealed_entries_read_back() -> None:
    """The reader returns equal entries, with or without newlines on the lines."""
    entries = make(5)
    lines = [line(entry) for entry in entries]
    assert list(read(lines)) == entries
    assert list(read(raw[:-1] for raw in lines)) == entries
    assert [entry.seq for entry in entries] == [1, 2, 3, 4, 5]
    assert list(read([])) == []


def test_the_line_sealed_with_an_entry_is_its_canonical_form() -> None:
    """Spelled in two halves, it is byte for byte what the library makes of the whole entry."""
    first = make(1)[0]
    entry, raw = seal_line(
        first,
        at=Instant("2026-03-04T05:06:08.000000Z", 10**19),
        boot="b1",
        by="J\u00fcrgen",
        event={"name": "heard", "text": ',"hash":"x","method":', "zz": [1, {"a": None}]},
        outcome={},
    )
    assert raw == rfc8785.dumps(entry.plain()) + b"\n" == line(entry)
    assert list(read([line(first), raw])) == [first, entry]


def test_the_first_entry_follows_zeros_and_each_other_its_predecessor() -> None:
    """The links are visible in the entries themselves."""
    first, second = make(2)
    assert first.prev == FIRST_PREV == "0" * 64
    assert second.prev == first.hash


def test_hash_is_what_the_method_says() -> None:
    """SHA-256 over the RFC 8785 form without the hash, computed here by the two libraries alone."""
    fields = json.loads(line(make(1)[0]))
    own = fields.pop("hash")
    assert fields["method"] == "sha256-jcs"
    assert sha256(rfc8785.dumps(fields)).hexdigest() == own


def test_monotonic_time_keeps_every_digit() -> None:
    """Beyond 2**53 a number would be rounded by other readers."""
    assert make(1)[0].mono == "9007199254740993"


def test_sealing_refuses_what_has_no_place_on_record() -> None:
    """Floats, and times that are none."""
    at = Instant("2026-03-04T05:06:07.000000Z", 0)
    with pytest.raises(TypeError, match=r"0\.25"):
        seal(None, at=at, boot="b", by="", event={"mass": 0.25}, outcome={})
    for utc in ("2026-02-30T05:06:07.000000Z", "2026-03-04T05:06:07Z", "yesterday"):
        with pytest.raises(ValueError, match="utc"):
            seal(None, at=Instant(utc, 0), boot="b", by="", event={}, outcome={})
    with pytest.raises(ValueError, match="mono"):
        seal(None, at=Instant(at.utc, -1), boot="b", by="", event={}, outcome={})


def test_entries_cannot_be_changed() -> None:
    """An entry is frozen."""
    with pytest.raises(ValueError, match="frozen"):
        make(1)[0].by = "Nobody"  # type: ignore[misc]  # frozen: that is the point


Damage = Callable[[list[bytes]], list[bytes]]
DAMAGES: dict[str, tuple[Damage, int, str]] = {
    "word changed": (
        lambda x: [x[0], x[1].replace(b"bottom", b"middle"), x[2]],
        2,
        "hash does not match",
    ),
    "line deleted": (lambda x: [x[0], x[2]], 2, "carries the number 3"),
    "line doubled": (lambda x: [x[0], x[1], x[1], x[2]], 3, "carries the number 2"),
    "lines swapped": (lambda x: [x[0], x[2], x[1]], 2, "carries the number 3"),
    "start cut off": (lambda x: x[1:], 1, "carries the number 2"),
    "space inserted": (lambda x: [x[0].replace(b":", b": ", 1)], 1, "canonical"),
    "key doubled": (lambda x: [x[0].replace(b'"boot":', b'"boot":"b1","boot":')], 1, "canonical"),
    "float": (lambda x: [x[0].replace(b'"n":0', b'"n":0.0')], 1, "0.0 is not an integer"),
    "empty line": (lambda x: [x[0], b"", x[1]], 2, "not a line of a record"),
    "two newlines": (lambda x: [x[0] + b"\n\n"], 1, "canonical"),
    "not UTF-8": (lambda x: [x[0].replace("\u00fc".encode(), b"\xfc")], 1, "utf-8"),
    "no object": (lambda _: [b"[]"], 1, "fields of an entry"),
    "field missing": (lambda x: [x[0].replace(b'"by"', b'"bye"')], 1, "fields of an entry"),
    "hash no text": (lambda x: [x[0].replace(b'"hash":"', b'"hash":["')], 1, "not a line"),
    "hash a number": (lambda _: [_hash_number()], 1, "64 hexadecimal"),
    "hash in capitals": (lambda _: [_hash_capitals()], 1, "64 hexadecimal"),
    "nested too deeply": (lambda _: [b"[" * 100_000], 1, "nested too deeply"),
    "number too long": (lambda _: [b"9" * 5_000], 1, "not a line of a record"),
    "link forged": (lambda x: [x[0], forge(make(2)[1], prev="1" * 64)], 2, "does not follow"),
    "content forged": (lambda x: [forge(make(1)[0], by="Other"), x[1]], 2, "does not follow"),
    "method forged": (lambda _: [forge(make(1)[0], method="md5")], 1, "field method"),
    "time forged": (
        lambda _: [forge(make(1)[0], utc="2026-13-04T05:06:07.000000Z")],
        1,
        "field utc",
    ),
    "person forged": (lambda _: [forge(make(1)[0], by=7)], 1, "field by"),
    "number as text": (lambda _: [forge(make(1)[0], seq="1")], 1, "carries the number"),
    "number as truth": (lambda _: [forge(make(1)[0], seq=True)], 1, "field seq"),
    "event no object": (lambda _: [forge(make(1)[0], event=[])], 1, "field event"),
}


def _hash_number() -> bytes:
    """Return a line whose hash is a number."""
    return rfc8785.dumps({**make(1)[0].plain(), "hash": 7})


def _hash_capitals() -> bytes:
    """Return a line whose hash is spelled in capitals."""
    entry = make(1)[0]
    return rfc8785.dumps({**entry.plain(), "hash": entry.hash.upper()})


@pytest.mark.parametrize("name", DAMAGES)
def test_damage_is_named_with_its_entry(name: str) -> None:
    """The first bad entry is told by number, with what is wrong and what to do."""
    damage, number, fault = DAMAGES[name]
    lines = damage([line(entry)[:-1] for entry in make(3)])
    with pytest.raises(RecordBroken, match=rf"^Entry {number} of the record .*{fault}.*compare"):
        list(read(lines))


def test_entries_before_the_bad_one_are_passed_on() -> None:
    """A damaged record can still be shown up to the damage."""
    entries = make(3)
    reader = read([line(entries[0]), line(entries[1]), b"{}"])
    assert [next(reader), next(reader)] == entries[:2]
    with pytest.raises(RecordBroken, match="Entry 3"):
        next(reader)


def test_text_beyond_the_basic_plane_and_long_integers_read_back() -> None:
    """The reader takes the slow way for them, with the same answer."""
    entry = seal(
        None,
        at=Instant("2026-03-04T05:06:07.000000Z", 0),
        boot="b",
        by="",
        event={"\U0001f600": "\U0001f600", "\ufb33": 1},
        outcome={"n": 2**53 - 1},
    )
    assert list(read([line(entry)])) == [entry]
    huge = line(entry).replace(b"9007199254740991", b"9007199254740993")
    with pytest.raises(RecordBroken, match=r"2\*\*53"):
        list(read([huge]))


def test_a_grown_record_is_read_from_where_reading_stopped() -> None:
    """Only what was added is read, and it must follow."""
    entries = make(5)
    added = [line(entry) for entry in entries[3:]]
    assert list(read(added, after=entries[2])) == entries[3:]
    with pytest.raises(RecordBroken, match=r"Entry 3 .*carries the number 4"):
        list(read(added, after=entries[1]))


def test_an_event_that_looks_like_the_end_of_an_entry_reads_back() -> None:
    """The hash is found where it belongs, however the content imitates it."""
    at = Instant("2026-03-04T05:06:07.000000Z", 0)
    event: dict[str, JsonValue] = {"a": {"event": {}, "hash": "0" * 64, "method": "sha256-jcs"}}
    entry = seal(None, at=at, boot="b", by="", event=event, outcome=event)
    assert list(read([line(entry)])) == [entry]
    own = "1" * 64
    forged: dict[str, JsonValue] = {"a": {"e": 1, "hash": own, "method": ""}}
    raw = rfc8785.dumps({**entry.plain(), "hash": own, "event": forged})
    assert raw.count(f',"hash":"{own}","method":'.encode()) == 2
    with pytest.raises(RecordBroken, match="hash does not match"):
        list(read([raw]))
