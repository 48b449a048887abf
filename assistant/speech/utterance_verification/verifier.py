"""The decision about one utterance: take the phrase, ask it back, or refuse it.

All phrases are decoded, so that a legal phrase at the wrong moment can be answered; a judgement's
phrase may therefore be one that is not legal now, and `legal` in its scores says so.
"""

import threading
from collections.abc import Collection, Mapping, Sequence
from typing import Final, Protocol

from assistant.ports import SAMPLE_RATE, Decision, Judgement, Utterance
from assistant.speech.utterance_verification.decision import HOPELESS, Weighed, choose, weigh
from assistant.speech.utterance_verification.decoder_passes import Engine, Passes
from assistant.speech.utterance_verification.dtw_templates import Compared
from assistant.speech.utterance_verification.features import measure
from assistant.speech.utterance_verification.profile import Profile
from assistant.speech.utterance_verification.score_model import Weights, load
from assistant.speech.utterance_verification.trimming import (
    Samples,
    dithered,
    samples_of,
    spread,
    trimmed,
)

SHORTEST: Final = 0.25
"""Seconds; anything shorter is a click or a breath."""
LONGEST: Final = 4.0
"""Seconds; no phrase takes longer, talk does."""


class Opinion(Protocol):
    """A second recogniser that gives figures for a phrase."""

    @property
    def name(self) -> str:
        """Engine and model, as they go on record."""
        ...

    def figures(self, samples: Samples, phrase: str, second: str) -> Mapping[str, float]:
        """Return the evidence for a phrase against its best rival."""
        ...


class Verifier:
    """Decides about utterances; may be used from several threads, calls wait for each other."""

    def __init__(
        self,
        pronunciations: Mapping[str, Sequence[str]] | None = None,
        *,
        second: Opinion | None = None,
        profile: Profile | None = None,
        alone: Weights | None = None,
        together: Weights | None = None,
    ) -> None:
        """Load the engine.

        Args:
            pronunciations: words the dictionary lacks or says differently, in ARPAbet.
            second: a second opinion, where one is installed.
            profile: the voice of whoever is going to speak, where it is known.
            alone: weights without a second opinion; those of the program when not given.
            together: weights with one; those of the program when not given.
        """
        self._engine = Engine(pronunciations)
        self._second = second
        self._profile = profile
        self._alone = alone or load("alone")
        self._together = together or load("second-opinion") if second else None
        self._enrolled = load("enrolled") if profile else None
        self._union: tuple[str, ...] = ()
        self._legal: frozenset[str] = frozenset()
        self._stricter = 0.0
        self._lock = threading.Lock()

    @property
    def name(self) -> str:
        """Engines and weights, as they go on record."""
        parts = ["pocketsphinx en-us"]
        weights = self._alone
        if self._second is not None and self._together is not None:
            parts.append(self._second.name)
            weights = self._together
        if self._profile is not None and self._enrolled is not None:
            parts.append(f"voice of {self._profile.name} {self._profile.digest}")
            weights = weights if self._second else self._enrolled
        return ", ".join([*parts, f"weights {weights.name}"])

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
            weighed = self._weigh(whole, samples, passes)
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

    def _weigh(self, whole: Samples, samples: Samples, passes: Passes) -> Weighed | None:
        figures = measure(passes, self._union, self._engine.pronounce)
        if figures is None:
            return None
        alone = weigh(passes.phrase, figures, self._alone.moved(self._stricter))
        if alone.total < HOPELESS:
            return alone
        if self._second is not None and self._together is not None:
            more = self._second.figures(samples, passes.phrase, passes.second)
            weights = self._together.moved(self._stricter)
            return weigh(passes.phrase, {**figures, **more}, weights)
        if self._profile is not None and self._enrolled is not None:
            likeness = self._profile.figures(Compared(whole), passes.phrase, passes.second)
            if likeness:
                weights = self._enrolled.moved(self._stricter)
                return weigh(passes.phrase, {**figures, **likeness}, weights)
        return alone

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
