"""Signatures under a report: who prepared, reviewed or approved a file, bound to its bytes.

The signed bytes are the canonical form of a `ReportStatement`. It holds the SHA-256 of the report,
so a signature does not survive a change of it, and that of the signature before it, so none can be
cut out from between two others. The keys are those that sign records.
"""

from collections.abc import Iterable, Mapping, Sequence
from hashlib import sha256
from typing import TYPE_CHECKING, Literal, get_args

from assistant.errors import RecordBroken
from assistant.journal.canonical import parse_canonical
from assistant.journal.entry import FIRST_PREV, Digest
from assistant.journal.signed import Signed, SignedStatement, fingerprint, link_to

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (
        Ed25519PrivateKey,
        Ed25519PublicKey,
    )

ReportMeaning = Literal["prepared", "reviewed", "approved"]
REPORT_MEANINGS: tuple[ReportMeaning, ...] = get_args(ReportMeaning)
"""What a signature under a report can mean."""


class ReportStatement(SignedStatement):
    """What is signed."""

    meaning: ReportMeaning
    """Why the person signs."""
    report: Digest
    """SHA-256 of the report's bytes."""


class ReportSignature(Signed):
    """A signature under a report."""

    statement: ReportStatement


def sign_report(
    report: bytes,
    *,
    name: str,
    meaning: ReportMeaning,
    utc: str,
    key: "Ed25519PrivateKey",
    before: Sequence[ReportSignature],
) -> ReportSignature:
    """Return a person's signature under a report.

    Args:
        report: the bytes of the file.
        name: the printed name.
        meaning: why the person signs.
        utc: when, RFC 3339, microseconds, ending in Z.
        key: the person's private key.
        before: the signatures under this report so far.

    Raises:
        ValueError: an empty name, an unknown meaning, a malformed time.
    """
    statement = ReportStatement(
        name=name,
        meaning=meaning,
        utc=utc,
        report=sha256(report).hexdigest(),
        prev=link_to(before[-1] if before else None),
        key=fingerprint(key.public_key()),
    )
    return ReportSignature(statement=statement, signature=key.sign(statement.payload()).hex())


def read_report_signatures(lines: Iterable[bytes], report: bytes) -> tuple[ReportSignature, ...]:
    """Return the signatures on these lines, proved to stand under this report one after another.

    Whether they are genuine is for `check_report_signatures`.

    Args:
        lines: in order, each with its newline.
        report: the bytes of the file.

    Raises:
        RecordBroken: names the first line that is none, does not follow, or signs another file.
    """
    found: list[ReportSignature] = []
    prev, digest = FIRST_PREV, sha256(report).hexdigest()
    for number, line in enumerate(lines, start=1):
        try:
            signature = ReportSignature.model_validate(parse_canonical(line.decode()))
        except (ValueError, RecursionError) as error:
            raise _broken(number, "cannot be read") from error
        if signature.line() != line or signature.statement.prev != prev:
            raise _broken(number, "does not follow the one before it")
        if signature.statement.report != digest:
            raise _broken(number, "was made under another report, or this one was changed since")
        prev = sha256(line).hexdigest()
        found.append(signature)
    return tuple(found)


def check_report_signatures(
    signatures: Iterable[ReportSignature], keys: "Mapping[str, Ed25519PublicKey]"
) -> None:
    """Prove that every signature was made by the person that it names.

    Args:
        signatures: from `read_report_signatures`.
        keys: the public key of each person, by printed name.

    Raises:
        RecordBroken: names the first that does not hold, and why.
    """
    from cryptography.exceptions import InvalidSignature  # noqa: PLC0415 - slow to import

    for number, signature in enumerate(signatures, start=1):
        said = signature.statement
        key = keys.get(said.name)
        if key is None or fingerprint(key) != said.key:
            raise _broken(number, f"cannot be checked: no key of {said.name} fits it")
        try:
            key.verify(bytes.fromhex(signature.signature), said.payload())
        except InvalidSignature:
            raise _broken(number, f"was not made by {said.name}") from None


def _broken(number: int, fault: str) -> RecordBroken:
    return RecordBroken(f"Signature {number} under the report {fault}: do not rely on it.")
