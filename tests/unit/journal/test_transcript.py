"""Texts of spoken remarks: bound to their entry, in order, by the person named."""

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.errors import RecordBroken
from assistant.journal.entry import Entry
from assistant.journal.signed import forged
from assistant.journal.transcript import Transcript, read_transcripts, transcribe
from tests.unit.journal.test_signing import ADA, BEN, KEYS, UTC, make

ENTRIES = make(5)


def typed(
    entry: Entry = ENTRIES[2],
    text: str = "the lid was ajar",
    previous: Transcript | None = None,
    key: Ed25519PrivateKey = ADA,
) -> Transcript:
    """Ada's text of a remark."""
    return transcribe(entry, text, name="Ada Muster", utc=UTC, key=key, previous=previous)


def test_texts_follow_one_another_and_are_read_back() -> None:
    """What was written is what is read, foreign letters included."""
    one = typed(text="Deckel schloß nicht")
    two = typed(previous=one)
    assert tuple(read_transcripts([one.line(), two.line()])) == (one, two)
    assert (two.statement.entry, two.statement.head) == (3, ENTRIES[2].hash)


def test_only_the_holder_of_the_key_counts() -> None:
    """Another's key, a changed word, and a person without a key."""
    assert forged(typed(), KEYS) == ""
    assert "another key" in forged(typed(key=BEN), KEYS)
    statement = typed().statement.model_copy(update={"text": "nothing was wrong"})
    changed = typed().model_copy(update={"statement": statement})
    assert "not made by the holder" in forged(changed, KEYS)
    assert "no public key" in forged(typed(), {})


@pytest.mark.parametrize("text", ["", "x" * 2001])
def test_an_empty_or_endless_text_is_none(text: str) -> None:
    """A remark lasts half a minute at most."""
    with pytest.raises(ValueError, match="text"):
        typed(text=text)


@pytest.mark.parametrize(
    ("lines", "fault"),
    [
        ([b"{}\n"], "Text 1 of a remark cannot be read"),
        ([typed().line(), typed().line()], "Text 2 of a remark does not follow"),
        ([typed().line().replace(b'","', b'", "', 1)], "Text 1 of a remark does not follow"),
        ([typed().line()[:-1]], "Text 1 of a remark does not follow"),
    ],
)
def test_changed_lines_are_named(lines: list[bytes], fault: str) -> None:
    """By their number."""
    with pytest.raises(RecordBroken, match=fault):
        tuple(read_transcripts(lines))
