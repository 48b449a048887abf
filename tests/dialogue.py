"""Shipped plans with the full dialogue, for tests that go through every step by itself."""

from assistant.storage import bundled_files


def full(name: str) -> bytes:
    """Return a shipped plan in which every step is confirmed by itself."""
    return bundled_files.read_plan(name).replace(b'dialogue = "short"', b'dialogue = "full"')
