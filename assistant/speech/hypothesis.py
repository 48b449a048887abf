"""The result of a recogniser, before any decision."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """What a recogniser made of one utterance."""

    text: str
    """The words in lower case, "" when nothing fitted."""
    confidence: float | None = None
    """The engine's own figure, 0 to 1, where it has one; never proof by itself."""
