"""From evidence to one of three outcomes: pure, and the same live and in the measurements."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from assistant.ports import Decision
from assistant.speech.utterance_verification.score_model import Weights


@dataclass(frozen=True, slots=True)
class Weighed:
    """One phrase that the utterance might be, with its figures and their sum."""

    phrase: str
    figures: Mapping[str, float]
    total: float
    accept: float
    ask: float

    @property
    def decision(self) -> Decision:
        """The outcome for this phrase by itself."""
        if self.total >= self.accept:
            return "accept"
        return "ask" if self.total >= self.ask else "refuse"


def weigh(phrase: str, figures: Mapping[str, float], weights: Weights) -> Weighed:
    """Weigh the evidence for one phrase."""
    return Weighed(phrase, figures, weights.score(figures), weights.needed(figures), weights.ask)


def choose(found: Sequence[Weighed], legal: frozenset[str]) -> tuple[Decision, Weighed]:
    """Choose between the best phrase of all and the best legal one behind it.

    The one that is not the best of all can at most be asked back, and so can a phrase that is not
    legal now: what cannot be taken anyway needs no question. Where a phrase that is not legal and
    one that is would each be taken by itself, neither counts: the wrong vial is not called wrong,
    nor the right one suggested, on one sound that could be both.

    Args:
        found: one or two phrases, the best of all first.
        legal: what may be said now; empty for no restriction.
    """
    first = found[0]
    behind = [each for each in found[1:] if each.decision != "refuse" and each.phrase in legal]
    if first.decision == "accept":
        clear = first.phrase in legal or all(each.decision != "accept" for each in behind)
        return ("accept" if clear else "refuse"), first
    if behind:
        return "ask", behind[0]
    if legal and first.phrase not in legal:
        return "refuse", first
    return first.decision, first
