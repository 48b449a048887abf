"""When the program speaks about what it did not take: pure, one rule for a whole session."""

from dataclasses import dataclass, replace
from typing import Final

from assistant.ports import Decision
from assistant.speech.phone_decoder.decision import Reason

MOST_QUESTIONS: Final = 2
"""Questions in a row without an answer, after which a clear phrase is waited for in silence."""
TRIES: Final = 2
"""Refused tries in a row, at which the program says that it did not understand."""


@dataclass(frozen=True, slots=True)
class AskBackPolicy:
    """What went before: questions without an answer, and tries without success."""

    questions: int = 0
    tries: int = 0

    def after(
        self, decision: Decision, reason: Reason, *, tried: bool
    ) -> tuple["AskBackPolicy", Decision, Reason, bool]:
        """Return the state after an utterance, its outcome, and whether to speak about it.

        Args:
            decision: the outcome by itself.
            reason: why it was not accepted.
            tried: whether a legal phrase was perhaps meant; other talk never makes it speak.
        """
        if decision == "accept":
            return AskBackPolicy(), decision, reason, True
        if decision == "ask" and self.questions < MOST_QUESTIONS:
            return AskBackPolicy(self.questions + 1), decision, reason, True
        if decision == "ask":
            return self, "refuse", "unanswered", False
        tries = self.tries + tried
        if tries < TRIES:
            return replace(self, tries=tries), decision, reason, False
        silent = self.questions >= MOST_QUESTIONS
        return replace(self, tries=0), decision, reason, not silent
