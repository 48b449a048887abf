"""Identification of files and programs in a record."""

import hashlib

from assistant.conformance import PRESENT

__all__ = ["fingerprint", "software"]


def fingerprint(data: bytes) -> str:
    """Return the SHA-256 of the exact bytes, in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def software() -> str:
    """Return name and version of this program, as written to the record."""
    return PRESENT
