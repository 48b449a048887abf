"""Whatever the lines hold, the reader answers with entries or with RecordBroken, and soon."""

import random
from hashlib import sha256

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import RecordBroken
from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.journal.signing import read_signatures
from assistant.ports import Instant

JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(), inner, max_size=3),
    max_leaves=8,
)
FIELDS = ("boot", "by", "event", "hash", "method", "mono", "outcome", "prev", "seq", "utc")


def make(count: int) -> list[Entry]:
    """Return a chain of invented entries."""
    entries: list[Entry] = []
    for number in range(count):
        entries.append(
            seal(
                entries[-1] if entries else None,
                at=Instant("2026-03-04T05:06:07.000000Z", number),
                boot="b",
                by="J\u00fcrgen",
                event={"name": "heard", "text": ["affirm", None, True]},
                outcome={"n": number},
            )
        )
    return entries


def survives(lines: list[bytes]) -> bool:
    """Tell whether lines were refused or read; any other exception fails the test."""
    try:
        for entry in read(lines):
            assert line(entry) in (raw.removesuffix(b"\n") + b"\n" for raw in lines)
    except RecordBroken as error:
        assert str(error).startswith("Entry ")  # noqa: PT017 - being refused is one fair answer
        return False
    return True


@given(st.lists(st.binary(), max_size=4))
def test_arbitrary_bytes(lines: list[bytes]) -> None:
    """Nothing but RecordBroken comes of bytes that nobody sealed."""
    assert survives(lines) is (not lines)
    try:
        list(read_signatures(lines))
    except RecordBroken:
        return
    assert not lines


@given(st.dictionaries(st.sampled_from(FIELDS), JSON, max_size=4))
@settings(max_examples=300)
def test_arbitrary_fields_with_a_hash_that_fits(changes: dict[str, object]) -> None:
    """A forger who knows the method but not the rules of the fields is refused by them."""
    fields = {**make(1)[0].plain(), **changes}
    if "hash" not in changes:
        fields.pop("hash")
        try:
            body = rfc8785.dumps(fields)  # type: ignore[arg-type]  # any JSON, floats included
        except rfc8785.CanonicalizationError:
            return
        fields["hash"] = sha256(body).hexdigest()
    try:
        raw = rfc8785.dumps(fields)  # type: ignore[arg-type]  # as above
    except rfc8785.CanonicalizationError:
        return
    survives([raw])


@pytest.mark.slow
def test_a_hundred_thousand_damaged_records() -> None:
    """Repeatable damage to real lines: flips, cuts, copies, foreign bytes, several at once."""
    chance = random.Random(8785)  # noqa: S311 - a repeatable choice, no secret
    lines = [line(entry) for entry in make(3)]
    morsels = [b'"', b"{", b"}", b"[", b"\\u0000", b"\\ud800", b"1e9", b"-0", b",", b"\xff", b"\n"]
    morsels += [
        b"9" * 20,
        b"null",
        b"NaN",
        b'"hash":"' + b"0" * 64 + b'",',
        b"[" * 2000,
        b"\xef\xbb\xbf",
    ]
    whole = 0
    for _ in range(100_000):
        damaged = list(lines)
        for _ in range(chance.randrange(1, 4)):
            place = chance.randrange(3)
            raw = damaged[place]
            start, end = sorted(chance.randrange(len(raw) + 1) for _ in range(2))
            kind = chance.randrange(4)
            if kind == 0:
                raw = raw[:start] + raw[end:]
            elif kind == 1:
                raw = raw[:end] + raw[start:]
            elif kind == 2:
                raw = raw[:start] + chance.choice(morsels) + raw[start:]
            else:
                raw = raw[:start] + chance.randbytes(1) + raw[start + 1 :]
            damaged[place] = raw or b"\n"
        read_whole = survives(damaged)
        assert read_whole is _same(damaged, lines)
        whole += read_whole
    assert whole < 2_000


def _same(damaged: list[bytes], lines: list[bytes]) -> bool:
    """Tell whether lines differ in their final newline only, which the reader does not ask for."""
    return [raw.removesuffix(b"\n") for raw in damaged] == [raw[:-1] for raw in lines]
