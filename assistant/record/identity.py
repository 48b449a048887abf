"""What identifies files and programs on record."""

import hashlib

from assistant.conformance import PRESENT

__all__ = ["fingerprint", "software"]


def fingerprint(data: bytes) -> str:
    """Return the SHA-256 of the exact bytes, in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def software() -> str:
    """Return name and version of this program, as they go on record."""
    return PRESENT
