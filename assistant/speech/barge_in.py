"""Barge-in: a few phrases are heard even while the program speaks.

With a loudspeaker the microphone hears every prompt. To pass here, an utterance must be one of
the named phrases, be legal, and score far above the usual threshold; everything else is dropped
without a record entry, since most of it is the prompt itself. While a prompt contains one of the
phrases, that phrase is blocked.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

from assistant.ports import Judgement, Utterance
from assistant.speech.endpoint import Endpointer, EndpointSettings, Segment

MARGIN: Final = 0.5
"""How far the total evidence must exceed the usual threshold. The stronger safeguard is that all
phrases compete and only two of them can win."""


class BargeIn:
    """Finds utterances in the sound during prompts and lets very few of them pass."""

    def __init__(
        self,
        judge: Callable[[Utterance], Judgement],
        *,
        margin: float = MARGIN,
        settings: EndpointSettings | None = None,
    ) -> None:
        """Start with no phrase allowed to pass.

        Args:
            judge: judges with all phrases in competition; its scores hold "total" and "accept".
            margin: how far the total must exceed the threshold.
            settings: of the end-of-speech detection.
        """
        self._judge = judge
        self._margin = margin
        self._endpointer = Endpointer(settings)
        self._allowed: tuple[str, ...] = ()
        self._spoken = ""

    def allow(self, phrases: Sequence[str]) -> None:
        """Set which phrases may pass from now on; all of them must be legal."""
        self._allowed = tuple(phrases)

    def ignore_below(self, dbfs: float) -> None:
        """Treat fainter sound as noise; most of a prompt's echo is fainter."""
        self._endpointer.settings = replace(self._endpointer.settings, least_dbfs=dbfs)

    def follow(self, block: bytes) -> None:
        """Process 50 ms of sound between prompts, to learn the room's noise."""
        self._endpointer.feed(block)

    def forget_room(self) -> None:
        """Re-learn the room's noise."""
        self._endpointer.forget_room()

    def prompt_started(self, spoken: str) -> None:
        """Start a prompt; a phrase that the prompt itself says cannot pass."""
        self._spoken = f" {_plain(spoken)} "
        self._endpointer.reset()

    def listen(self, block: bytes) -> tuple[Judgement, Segment] | None:
        """Process 50 ms of sound during a prompt and return what passed, usually nothing."""
        segment = self._endpointer.feed(block)
        if segment is None or segment.too_short or segment.ended_by == "limit":
            return None
        open_to = [phrase for phrase in self._allowed if f" {phrase} " not in self._spoken]
        if not open_to:
            return None
        judgement = self._judge(segment.utterance)
        return (judgement, segment) if self._passes(judgement, open_to) else None

    def _passes(self, judgement: Judgement, open_to: Sequence[str]) -> bool:
        if judgement.decision != "accept" or judgement.text not in open_to:
            return False
        # An engine without these scores cannot be held to a stricter threshold.
        if not {"total", "accept"} <= set(judgement.scores):
            return False
        total, accept = float(judgement.scores["total"]), float(judgement.scores["accept"])
        return total >= accept + self._margin


def _plain(words: str) -> str:
    """Return words in lower case without punctuation, to compare them with phrases."""
    kept = "".join(letter if letter.isalnum() else " " for letter in words.lower())
    return " ".join(kept.split())
