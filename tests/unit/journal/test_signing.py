"""Signatures bind a name, a time and a meaning to the record as it stands."""

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.errors import RecordBroken
from assistant.journal.chain import seal
from assistant.journal.entry import Entry
from assistant.journal.signing import (
    MEANINGS,
    Meaning,
    Signature,
    check,
    note_heads,
    read_signatures,
    sign,
)
from assistant.ports import Instant

ADA = Ed25519PrivateKey.from_private_bytes(b"a" * 32)
BEN = Ed25519PrivateKey.from_private_bytes(b"b" * 32)
KEYS = {"Ada Muster": ADA.public_key(), "Ben Exempel": BEN.public_key()}
UTC = "2026-03-04T15:16:17.181920Z"


def make(count: int, by: str = "") -> list[Entry]:
    """Return a chain of invented entries."""
    entries: list[Entry] = []
    for number in range(count):
        at = Instant("2026-03-04T05:06:07.000000Z", number)
        previous = entries[-1] if entries else None
        entries.append(seal(previous, at=at, boot="b", by=by, event={}, outcome={}))
    return entries


def both(head: Entry) -> list[Signature]:
    """Return the signatures of both people under a record."""
    one = sign(head, name="Ada Muster", meaning="performed", utc=UTC, key=ADA, previous=None)
    two = sign(head, name="Ben Exempel", meaning="reviewed", utc=UTC, key=BEN, previous=one)
    return [one, two]


def heads(entries: list[Entry], signatures: list[Signature]) -> dict[int, str]:
    """Return what the record shows at the counts of the signatures."""
    found: dict[int, str] = {}
    passed = list(note_heads(entries, {s.statement.count for s in signatures}, found))
    assert passed == entries
    return found


def test_two_people_sign_and_it_is_proved() -> None:
    """More than one signature, each with its printed name, time and meaning."""
    entries = make(4)
    signatures = both(entries[-1])
    check(signatures, heads(entries, signatures), KEYS)
    said = signatures[1].statement
    assert (said.name, said.meaning, said.utc, said.count) == ("Ben Exempel", "reviewed", UTC, 4)
    assert said.head == entries[-1].hash


def test_lines_read_back() -> None:
    """What is written is what is read."""
    signatures = both(make(1)[0])
    assert list(read_signatures(s.line() for s in signatures)) == signatures


def test_a_changed_record_breaks_the_signatures() -> None:
    """The same count, another content."""
    signatures = both(make(4)[-1])
    with pytest.raises(RecordBroken, match=r"Signature 1 of Ada Muster was not made under this"):
        check(signatures, heads(make(4, by="x"), signatures), KEYS)


def test_a_shortened_record_breaks_the_signatures() -> None:
    """The signed count is no longer reached."""
    signatures = both(make(4)[-1])
    with pytest.raises(RecordBroken, match="at entry 4"):
        check(signatures, heads(make(3), signatures), KEYS)


def test_a_record_that_grew_keeps_its_signatures() -> None:
    """They hold for what was there when they were made."""
    entries = make(6)
    signatures = both(entries[3])
    check(signatures, heads(entries, signatures), KEYS)


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"name": "Ben Exempel"}, "another key"),
        ({"name": "Cleo Nemo"}, "no public key"),
        ({"meaning": "approved"}, "holder of that key"),
        ({"utc": "2027-01-01T00:00:00.000000Z"}, "holder of that key"),
        ({"prev": "1" * 64}, "holder of that key"),
    ],
)
def test_a_changed_statement_breaks_its_signature(change: dict[str, str], fault: str) -> None:
    """Name, meaning, time and link are all signed."""
    entries = make(2)
    one = both(entries[-1])[0]
    forged = one.model_copy(update={"statement": one.statement.model_copy(update=change)})
    with pytest.raises(RecordBroken, match=fault):
        check([forged], {2: entries[-1].hash}, KEYS)


def test_a_signature_cut_out_is_missed() -> None:
    """The next one says what it followed."""
    _, two = both(make(1)[0])
    with pytest.raises(RecordBroken, match="Signature 1 does not follow"):
        list(read_signatures([two.line()]))


def test_every_changed_byte_of_the_lines_is_caught() -> None:
    """By reading or by checking, all of them."""
    entries = make(1)
    signatures = both(entries[0])
    data = b"".join(s.line() for s in signatures)
    for place in range(len(data)):
        for change in (1, 128):
            bad = bytearray(data)
            bad[place] ^= change
            with pytest.raises(RecordBroken):
                check(
                    list(read_signatures(bytes(bad).splitlines(keepends=True))),
                    {1: entries[0].hash},
                    KEYS,
                )


@pytest.mark.parametrize(
    ("line", "fault"),
    [
        (b"{}\n", "cannot be read"),
        (b"\xff\n", "cannot be read"),
        (b"[" * 100_000, "cannot be read"),
        (both(make(1)[0])[0].line()[:-1], "canonical"),
        (both(make(1)[0])[0].line().replace(b":{", b": {"), "canonical"),
    ],
)
def test_what_is_no_signature_is_refused(line: bytes, fault: str) -> None:
    """The line is named."""
    with pytest.raises(RecordBroken, match=f"Signature 1 .*{fault}"):
        list(read_signatures([line]))


def test_meanings_are_the_four_of_the_form() -> None:
    """A fifth is refused."""
    assert MEANINGS == ("performed", "witnessed", "reviewed", "approved")
    fifth: Meaning = "guessed"  # type: ignore[assignment]  # what a careless caller might pass
    with pytest.raises(ValueError, match="meaning"):
        sign(make(1)[0], name="Ada Muster", meaning=fifth, utc=UTC, key=ADA, previous=None)
