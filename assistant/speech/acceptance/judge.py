"""The decision about one utterance: take the phrase, ask it back, or refuse it.

All phrases are decoded, so that a legal phrase at the wrong moment can be answered; a verdict's
phrase may therefore be one that is not legal now, and `legal` in its scores says so.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from assistant.ports import SAMPLE_RATE, Decision, Utterance, Verdict
from assistant.speech.acceptance.features import measure
from assistant.speech.acceptance.passes import Engine
from assistant.speech.acceptance.sound import dithered, samples_of, spread, trimmed
from assistant.speech.acceptance.weights import Weights, load

SHORTEST: Final = 0.25
"""Seconds; anything shorter is a click or a breath."""
LONGEST: Final = 4.0
"""Seconds; no phrase takes longer, talk does."""


class Judge:
    """Decides about utterances with the embedded engine alone."""

    def __init__(
        self,
        pronunciations: Mapping[str, Sequence[str]] | None = None,
        weights: Weights | None = None,
    ) -> None:
        """Load the engine.

        Args:
            pronunciations: words the dictionary lacks or says differently, in ARPAbet.
            weights: weights and thresholds; those that come with the program when not given.
        """
        self._engine = Engine(pronunciations)
        self._weights = weights or load("alone")
        self._union: tuple[str, ...] = ()
        self._legal: frozenset[str] = frozenset()

    @property
    def name(self) -> str:
        """Engine and weights, as they go on record."""
        return f"pocketsphinx en-us, acceptance {self._weights.name}"

    def prepare(self, union: Sequence[str], legal: Sequence[str]) -> None:
        """Set all phrases that can be heard, and those that are legal now.

        Raises:
            GrammarError: the union is empty, or a word cannot be pronounced.
        """
        self._engine.prepare(union, legal)
        self._union, self._legal = tuple(union), frozenset(legal)

    def judge(self, utterance: Utterance) -> Verdict:
        """Decide about one utterance; the same samples always give the same verdict."""
        if utterance.source != "voice":
            return self._typed(utterance)
        whole = samples_of(utterance.pcm)
        samples = trimmed(whole)
        seconds = len(samples) / SAMPLE_RATE
        if seconds < SHORTEST:
            return self._verdict(utterance, "refuse", "", "too-short", {"seconds": seconds})
        if seconds > LONGEST:
            return self._verdict(utterance, "refuse", "", "too-long", {"seconds": seconds})
        passes = self._engine.run(dithered(samples), spread(whole))
        found = [
            (each.phrase, figures)
            for each in passes
            if (figures := measure(each, self._union, self._engine.pronounce)) is not None
        ]
        if not found:
            return self._verdict(utterance, "refuse", "", "no-phrase", {"seconds": seconds})
        verdicts = [self._weigh(utterance, phrase, figures) for phrase, figures in found]
        return self._choose(verdicts)

    def _choose(self, verdicts: Sequence[Verdict]) -> Verdict:
        """Prefer the best phrase of all; a legal one behind it can at most be asked back."""
        first = verdicts[0]
        if first.decision == "accept" or len(verdicts) == 1:
            return first
        legal = verdicts[1]
        if legal.decision == "refuse":
            return first
        return replace(legal, decision="ask", reason="unclear")

    def _weigh(self, utterance: Utterance, phrase: str, figures: Mapping[str, float]) -> Verdict:
        total = self._weights.score(figures)
        scores = {
            **figures,
            "total": total,
            "accept": self._weights.accept,
            "ask": self._weights.ask,
            "legal": float(phrase in self._legal),
        }
        if total >= self._weights.accept:
            return self._verdict(utterance, "accept", phrase, "", scores)
        if total >= self._weights.ask:
            return self._verdict(utterance, "ask", phrase, "unclear", scores)
        return self._verdict(utterance, "refuse", phrase, "no-phrase", scores)

    def _typed(self, utterance: Utterance) -> Verdict:
        phrase = " ".join(utterance.typed.lower().split())
        known = phrase in self._union
        return self._verdict(
            utterance, "accept" if known else "refuse", phrase, "" if known else "no-phrase", {}
        )

    def _verdict(
        self,
        utterance: Utterance,
        decision: Decision,
        phrase: str,
        reason: str,
        scores: Mapping[str, float],
    ) -> Verdict:
        written = {name: f"{value:.4f}" for name, value in scores.items()}
        return Verdict(decision, phrase, reason, utterance, self.name, written)
