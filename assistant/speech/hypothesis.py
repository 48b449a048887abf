"""The result of a recogniser, before any decision."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """A recogniser's result for one utterance."""

    text: str
    """The words in lower case, "" if nothing matched."""
    confidence: float | None = None
    """The engine's own confidence, 0 to 1, if it has one; never sufficient by itself."""
