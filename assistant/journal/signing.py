"""Signatures: a person binds name, time and meaning to the record as it stands.

The signed bytes are the canonical form of a `Statement`. It holds the count and hash of the
record's last entry, so a signature cannot be moved to another record and does not survive a change;
and the hash of the signature before it, so none can be cut out from between two others. That the
last signature was taken away shows only where it is remembered, as with the end of a chain: by its
signature code.

Keys come in from outside; no file is read and no randomness drawn here (Ed25519 needs none to
sign).
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from hashlib import sha256
from typing import TYPE_CHECKING, Literal, get_args

from pydantic import Field

from assistant.errors import RecordBroken
from assistant.journal.canonical import parse_canonical
from assistant.journal.entry import FIRST_PREV, Digest, Entry
from assistant.journal.head_code import head_code, parse
from assistant.journal.signed import Signed, SignedStatement, fingerprint, forged, link_to

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (
        Ed25519PrivateKey,
        Ed25519PublicKey,
    )

__all__ = [
    "MEANINGS",
    "Meaning",
    "Signature",
    "Statement",
    "check",
    "misplaced",
    "note_heads",
    "read_signatures",
    "require_last",
    "sign",
    "signature_code",
]

Meaning = Literal["performed", "witnessed", "reviewed", "approved"]
MEANINGS: tuple[Meaning, ...] = get_args(Meaning)
"""What a signature can mean."""


class Statement(SignedStatement):
    """What is signed; shown in every export and report next to the signature."""

    meaning: Meaning
    """Why the person signs."""
    count: int = Field(ge=1)
    """Entries in the record at that time."""
    head: Digest
    """Hash of the last of them."""


class Signature(Signed):
    """A signature under a record."""

    statement: Statement


def sign(
    head: Entry,
    *,
    name: str,
    meaning: Meaning,
    utc: str,
    key: "Ed25519PrivateKey",
    previous: Signature | None,
) -> Signature:
    """Return a person's signature under a record.

    Args:
        head: the last entry of the record.
        name: the printed name.
        meaning: why the person signs.
        utc: when, RFC 3339, microseconds, ending in Z.
        key: the person's private key.
        previous: the last signature under this record so far.

    Raises:
        ValueError: an empty name, an unknown meaning, a malformed time.
    """
    statement = Statement(
        name=name,
        meaning=meaning,
        utc=utc,
        count=head.seq,
        head=head.hash,
        prev=link_to(previous),
        key=fingerprint(key.public_key()),
    )
    return Signature(statement=statement, signature=key.sign(statement.payload()).hex())


def read_signatures(lines: Iterable[bytes]) -> Iterator[Signature]:
    """Yield the signatures on these lines, each proved to follow the one before it.

    Whether they are genuine is for `check`.

    Args:
        lines: in order, each with its newline.

    Raises:
        RecordBroken: names the first line that is none or does not follow.
    """
    prev = FIRST_PREV
    for number, line in enumerate(lines, start=1):
        try:
            signature = Signature.model_validate(parse_canonical(line.decode()))
        except (ValueError, RecursionError) as error:
            raise _broken(number, "cannot be read") from error
        if signature.line() != line:
            raise _broken(number, "is not spelled in canonical form")
        if signature.statement.prev != prev:
            raise _broken(number, "does not follow the one before it")
        prev = sha256(line).hexdigest()
        yield signature


def note_heads(
    entries: Iterable[Entry], counts: AbstractSet[int], heads: dict[int, str]
) -> Iterator[Entry]:
    """Pass the entries of a record on, and note in `heads` the hashes at the wanted counts.

    Args:
        entries: in order, already checked (`assistant.journal.chain.read`).
        counts: what the signatures call their `count`.
        heads: is filled with count -> hash.
    """
    for entry in entries:
        if entry.seq in counts:
            heads[entry.seq] = entry.hash
        yield entry


def check(
    signatures: Sequence[Signature],
    heads: Mapping[int, str],
    keys: "Mapping[str, Ed25519PublicKey] | None" = None,
) -> None:
    """Prove that every signature is under this record and by the person that it names.

    Args:
        signatures: from `read_signatures`.
        heads: the record's hash at each signature's count (`note_heads`).
        keys: the public key of each person, by printed name; None to leave open who signed.

    Raises:
        RecordBroken: names the first signature that does not hold, and why.
    """
    for number, signature in enumerate(signatures, start=1):
        fault = misplaced(signature, heads)
        if not fault and keys is not None:
            fault = forged(signature, keys)
        if fault:
            raise _broken(number, f"of {signature.statement.name} {fault}")


def misplaced(signature: Signature, heads: Mapping[int, str]) -> str:
    """Return why a signature is not under this record, or ""; needs no key.

    Args:
        signature: from `read_signatures`.
        heads: the record's hash at its count (`note_heads`).
    """
    said = signature.statement
    if heads.get(said.count) != said.head:
        return f"was not made under this record as it stands at entry {said.count}"
    return ""


def signature_code(number: int, signature: Signature) -> str:
    """Return the code that pins down how many signatures there are and which is the last.

    Args:
        number: how many there are, from 1.
        signature: the last of them.
    """
    return head_code(number, sha256(signature.line()).hexdigest()).text


def require_last(code: str, signatures: Sequence[Signature]) -> None:
    """Refuse signatures of which one was taken away or exchanged since a code was given.

    Signatures added since are accepted.

    Args:
        code: of `signature_code`, as typed.
        signatures: from `read_signatures`.

    Raises:
        InputError: it is no code.
        RecordBroken: there are fewer, or another one stands there.
    """
    count, text = parse(code)
    if len(signatures) < count:
        raise RecordBroken(
            f"There are {len(signatures)} signatures, and the code {text} was given after "
            f"{count}: look for another copy of the record."
        )
    if signature_code(count, signatures[count - 1]) != text:
        raise RecordBroken(
            f"Signature {count} does not lead to the signature code {text}: it is another one; "
            "look for another copy of the record."
        )


def _broken(number: int, fault: str) -> RecordBroken:
    """Return the error for a signature that does not hold."""
    return RecordBroken(
        f"Signature {number} {fault}: do not rely on it, and ask the person to sign again."
    )
