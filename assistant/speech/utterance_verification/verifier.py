"""The decision about one utterance: take the phrase, ask it back, or refuse it.

All phrases are decoded, so that a legal phrase at the wrong moment can be answered; a judgement's
phrase may therefore be one that is not legal now, and `legal` in its scores says so.
"""

import threading
from collections.abc import Collection, Mapping, Sequence
from typing import Final

from assistant.ports import SAMPLE_RATE, Decision, Judgement, Utterance
from assistant.speech.utterance_verification.decision import Weighed, choose, weigh
from assistant.speech.utterance_verification.decoder_passes import Engine, Passes
from assistant.speech.utterance_verification.features import measure
from assistant.speech.utterance_verification.score_model import Weights, load
from assistant.speech.utterance_verification.trimming import (
    dithered,
    samples_of,
    spread,
    trimmed,
)

SHORTEST: Final = 0.25
"""Seconds; anything shorter is a click or a breath."""
LONGEST: Final = 4.0
"""Seconds; no phrase takes longer, talk does."""


class Verifier:
    """Decides about utterances; may be used from several threads, calls wait for each other."""

    def __init__(
        self,
        pronunciations: Mapping[str, Sequence[str]] | None = None,
        *,
        weights: Weights | None = None,
    ) -> None:
        """Load the engine.

        Args:
            pronunciations: words the dictionary lacks or says differently, in ARPAbet.
            weights: of the decision; those of the program when not given.
        """
        self._engine = Engine(pronunciations)
        self._weights = weights or load("alone")
        self._union: tuple[str, ...] = ()
        self._legal: frozenset[str] = frozenset()
        self._stricter = 0.0
        self._lock = threading.Lock()

    @property
    def name(self) -> str:
        """Engine and weights, as they go on record."""
        return f"pocketsphinx en-us, weights {self._weights.name}"

    def prepare(self, union: Sequence[str], legal: Collection[str]) -> None:
        """Set all phrases that can be heard, and those that are legal now.

        Raises:
            GrammarError: the union is empty, or a word cannot be pronounced.
        """
        with self._lock:
            self._engine.prepare(union, tuple(legal))
            self._union, self._legal = tuple(union), frozenset(legal)

    def tighten(self, by: float) -> None:
        """Raise the thresholds (lower, when negative), as a sound check or a noisy room asks."""
        with self._lock:
            self._stricter = by

    def judge(self, utterance: Utterance) -> Judgement:
        """Decide about one utterance; the same samples always give the same judgement."""
        if utterance.source != "voice":
            return self._typed(utterance)
        with self._lock:
            return self._judged(utterance)

    def _judged(self, utterance: Utterance) -> Judgement:
        whole = samples_of(utterance.pcm)
        samples = trimmed(whole)
        seconds = len(samples) / SAMPLE_RATE
        if seconds < SHORTEST:
            return self._judgement(utterance, "refuse", "", "too-short", {"seconds": seconds})
        if seconds > LONGEST:
            return self._judgement(utterance, "refuse", "", "too-long", {"seconds": seconds})
        samples = dithered(samples)
        found: list[Weighed] = []
        for passes in self._engine.run(samples, spread(whole)):
            weighed = self._weigh(passes)
            if weighed is not None:
                found.append(weighed)
            # The passes for a legal phrase are made only where the best of all is not taken.
            if weighed is not None and weighed.decision == "accept" and self._may(weighed.phrase):
                break
        if not found:
            return self._judgement(utterance, "refuse", "", "no-phrase", {"seconds": seconds})
        decision, chosen = choose(found, self._legal)
        reason = {"accept": "", "ask": "unclear", "refuse": "no-phrase"}[decision]
        if decision == "refuse" and chosen.decision == "accept":
            reason = "unclear"
        scores = {
            **chosen.figures,
            "total": chosen.total,
            "accept": chosen.accept,
            "ask": chosen.ask,
            "legal": float(chosen.phrase in self._legal),
            "seconds": seconds,
        }
        return self._judgement(utterance, decision, chosen.phrase, reason, scores)

    def _may(self, phrase: str) -> bool:
        """Whether a phrase can be taken now."""
        return not self._legal or phrase in self._legal

    def _weigh(self, passes: Passes) -> Weighed | None:
        figures = measure(passes, self._union, self._engine.pronounce)
        if figures is None:
            return None
        return weigh(passes.phrase, figures, self._weights.moved(self._stricter))

    def _typed(self, utterance: Utterance) -> Judgement:
        phrase = " ".join(utterance.typed.lower().split())
        known = phrase in self._union
        return self._judgement(
            utterance, "accept" if known else "refuse", phrase, "" if known else "no-phrase", {}
        )

    def _judgement(
        self,
        utterance: Utterance,
        decision: Decision,
        phrase: str,
        reason: str,
        scores: Mapping[str, float],
    ) -> Judgement:
        written = {name: f"{value:.4f}" for name, value in scores.items()}
        return Judgement(decision, phrase, reason, utterance, self.name, written)
