"""Small pieces that every way of running a session needs."""

import hashlib

from assistant import __version__
from assistant.grammar.language import Language
from assistant.speech.acceptance import Judge


def fingerprint(data: bytes) -> str:
    """SHA-256 of the exact bytes, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def software() -> str:
    """Name and version, as they go on record."""
    return f"sampling-assistant {__version__}"


def open_judge(language: Language) -> Judge:
    """Load the embedded recogniser with its acceptance layer."""
    return Judge(language.pronunciations)
