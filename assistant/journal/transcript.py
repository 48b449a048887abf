"""Texts of spoken remarks: what a person heard in a clip, bound to the entry that names it.

Like a signature, a text is an addition beside the record: the record itself stays as it was. The
signed bytes are the canonical form of a `TranscriptStatement`. It holds number and hash of the
entry, so a text cannot be moved to another remark or record; and the hash of the text before it, so
none can be cut out from between two others. A later text of the same entry takes the place of an
earlier one; both stay.
"""

from collections.abc import Iterable, Iterator
from hashlib import sha256
from typing import TYPE_CHECKING, Literal

from pydantic import Field

from assistant.errors import RecordBroken
from assistant.journal.canonical import parse_canonical
from assistant.journal.entry import FIRST_PREV, Digest, Entry
from assistant.journal.signed import Signed, SignedStatement, fingerprint, link_to

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

__all__ = ["LONGEST_TEXT", "Transcript", "TranscriptStatement", "read_transcripts", "transcribe"]

LONGEST_TEXT = 2000
"""Characters; a remark lasts half a minute at most."""


class TranscriptStatement(SignedStatement):
    """What is signed: the text, by the person who listened and typed it."""

    text: str = Field(min_length=1, max_length=LONGEST_TEXT)
    """What was heard."""
    entry: int = Field(ge=1)
    """Number of the entry that names the clip."""
    head: Digest
    """Hash of that entry."""
    kind: Literal["transcript"] = "transcript"
    """Keeps it from being taken for a signature."""


class Transcript(Signed):
    """The signed text of a remark."""

    statement: TranscriptStatement


def transcribe(
    entry: Entry,
    text: str,
    *,
    name: str,
    utc: str,
    key: "Ed25519PrivateKey",
    previous: Transcript | None,
) -> Transcript:
    """Return a person's signed text of a spoken remark.

    Args:
        entry: the entry that names the clip.
        text: what was heard.
        name: the printed name.
        utc: when, RFC 3339, microseconds, ending in Z.
        key: the person's private key.
        previous: the last text under this record so far.

    Raises:
        ValueError: an empty name or text, a text that is too long, a malformed time.
    """
    statement = TranscriptStatement(
        name=name,
        text=text,
        utc=utc,
        entry=entry.seq,
        head=entry.hash,
        prev=link_to(previous),
        key=fingerprint(key.public_key()),
    )
    return Transcript(statement=statement, signature=key.sign(statement.payload()).hex())


def read_transcripts(lines: Iterable[bytes]) -> Iterator[Transcript]:
    """Yield the texts on these lines, each proved to follow the one before it.

    Whether they are genuine is for `assistant.journal.signed.forged`.

    Args:
        lines: in order, each with its newline.

    Raises:
        RecordBroken: names the first line that is none or does not follow.
    """
    prev = FIRST_PREV
    for number, line in enumerate(lines, start=1):
        try:
            found = Transcript.model_validate(parse_canonical(line.decode()))
        except (ValueError, RecursionError) as error:
            raise _broken(number, "cannot be read") from error
        if found.line() != line or found.statement.prev != prev:
            raise _broken(number, "does not follow the one before it")
        prev = sha256(line).hexdigest()
        yield found


def _broken(number: int, fault: str) -> RecordBroken:
    return RecordBroken(f"Text {number} of a remark {fault}: do not rely on it, listen again.")
