"""What everything signed here has in common: who said it, when, after what, with which key.

Signatures under records and reports and the texts of remarks are lines of this form; each names the
line before it by its hash, so that none can be cut out from between two others.
"""

from collections.abc import Mapping
from hashlib import sha256
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from assistant.journal.canonical import canonical
from assistant.journal.entry import FIRST_PREV, Digest, Utc

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

__all__ = ["Signed", "SignedStatement", "fingerprint", "forged", "link_to"]


class SignedStatement(BaseModel):
    """The part of what is signed that every kind of it has."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    name: str = Field(min_length=1)
    """The printed name of the person."""
    utc: Utc
    """When, RFC 3339, microseconds, ending in Z."""
    prev: Digest
    """SHA-256 of the line before this one, or 64 zeros."""
    key: Digest
    """SHA-256 of the 32 bytes of the public key."""
    method: Literal["ed25519-jcs"] = "ed25519-jcs"
    """How it was signed: Ed25519 over the RFC 8785 form of everything here."""

    def payload(self) -> bytes:
        """Return the bytes that are signed."""
        return canonical(dict(self))


class Signed(BaseModel):
    """A statement and the proof that the holder of the key made it; each kind has its own."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    statement: SignedStatement
    """What was signed."""
    signature: Annotated[str, Field(pattern=r"^[0-9a-f]{128}$")]
    """The 64 bytes of the Ed25519 signature in hexadecimal digits."""

    def line(self) -> bytes:
        """Return it as its line, newline included."""
        return canonical({"statement": dict(self.statement), "signature": self.signature}) + b"\n"


def link_to(previous: Signed | None) -> str:
    """Return what the next statement has as `prev`.

    Args:
        previous: the last one so far, if any.
    """
    return sha256(previous.line()).hexdigest() if previous else FIRST_PREV


def fingerprint(key: "Ed25519PublicKey") -> str:
    """Return the SHA-256 of the public key's 32 bytes, by which a statement names it."""
    return sha256(key.public_bytes_raw()).hexdigest()


def forged(signed: Signed, keys: Mapping[str, "Ed25519PublicKey"]) -> str:
    """Return why a signature does not count as the named person's, or "".

    Args:
        signed: of any kind.
        keys: the public key of each person, by printed name.
    """
    from cryptography.exceptions import InvalidSignature  # noqa: PLC0415 - slow to import

    said = signed.statement
    key = keys.get(said.name)
    if key is None:
        return "cannot be checked, because there is no public key of that name"
    if fingerprint(key) != said.key:
        return "was made with another key than the one known under that name"
    try:
        key.verify(bytes.fromhex(signed.signature), said.payload())
    except InvalidSignature:
        return "was not made by the holder of that key"
    return ""
