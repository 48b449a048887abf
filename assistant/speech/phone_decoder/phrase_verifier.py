"""The decision about one stretch of sound; the same samples always give the same one."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from assistant.grammar.phones import Way
from assistant.grammar.rendering import NUMBER
from assistant.ports import SAMPLE_RATE, Decision, Stakes
from assistant.speech.pcm import Samples
from assistant.speech.phone_decoder.decision import (
    RESEMBLES,
    Calibration,
    Rated,
    Reason,
    choose,
    shipped_calibration,
)
from assistant.speech.phone_decoder.digit_decoder import DigitDecoder, DigitWords
from assistant.speech.phone_decoder.evidence import measure, spikes
from assistant.speech.phone_decoder.phone_model import PhoneModel
from assistant.speech.phone_decoder.phrase_scores import Floats, PhraseSet, ratios
from assistant.speech.phone_decoder.pronunciations import Pronunciations
from assistant.speech.phone_decoder.voice_adaptation import VoiceProfile, adapted

FRAME_SAMPLES: Final = SAMPLE_RATE // 50
"""Samples from one row of the network's output to the next."""
LONGEST_SAMPLES: Final = 57 * SAMPLE_RATE // 10
"""The network takes no more sound than this (5.7 s) at a time."""
_LEAST_SPIKES: Final = 2


@dataclass(frozen=True, slots=True)
class Judgement:
    """What became of one stretch of sound."""

    decision: Decision
    phrase: str
    """The phrase it was taken for, or came nearest to; "" when none."""
    probability: float
    """Of `phrase` being what was said, 0 to 1."""
    second: str
    """The runner-up, "" when there is none."""
    reason: Reason
    """Why not accepted, "" where it was."""
    legal: bool
    """Whether `phrase` may be said now."""
    needed: float
    """Least probability at which it would have been taken."""
    figures: Mapping[str, float]
    """The evidence, by name."""
    begin: int
    """First sample of the phrase within the clip."""
    end: int
    """Sample after its last phone."""

    @property
    def resembles(self) -> bool:
        """Whether a legal phrase was perhaps meant."""
        return self.legal and self.probability >= RESEMBLES


NOTHING: Final = Judgement(
    "refuse", "", 0.0, "", "no-phrase", legal=False, needed=1.0, figures={}, begin=0, end=0
)
"""No speech at all."""


class PhraseVerifier:
    """Decides which phrase a stretch of sound is, if any."""

    def __init__(
        self,
        model: PhoneModel,
        pronunciations: Pronunciations,
        digits: Mapping[str, Sequence[str]],
        calibration: Calibration | None = None,
        profile: VoiceProfile | None = None,
    ) -> None:
        """Take over the parts.

        Args:
            model: hears phones.
            pronunciations: of all words.
            digits: "0" to "9" and "." to the words that stand for them.
            calibration: figures to probability; that of the program when not given.
            profile: the voice of whoever is going to speak, made with this model.

        Raises:
            DeviceError: the calibration is damaged.
        """
        self._model = model
        self._pronunciations = pronunciations
        self._digits = digits
        self._calibration = calibration or shipped_calibration()
        self._profile = profile
        self._bias = np.array(profile.bias) if profile else None
        self._legal: Mapping[str, Stakes] = {}
        self._expected: frozenset[str] = frozenset()
        self._stricter = 0.0
        self._phrases: PhraseSet | None = None
        self._number = ""
        self._loop: DigitDecoder | None = None

    @property
    def name(self) -> str:
        """Model, profile and calibration, as they go on record."""
        voice = f", voice {self._profile.name} {self._profile.digest}" if self._profile else ""
        return f"{self._model.name}{voice}, calibration {self._calibration.name}"

    @property
    def model(self) -> PhoneModel:
        """The network."""
        return self._model

    @property
    def wants_number(self) -> bool:
        """Whether a number may be said now."""
        return bool(self._number)

    def set_legal(
        self,
        legal: Mapping[str, Stakes],
        others: Collection[str] = (),
        expected: Collection[str] = (),
    ) -> None:
        """Set what may be said now, and what else is scored beside it.

        Args:
            legal: phrases, each with its stakes; one may hold `NUMBER`.
            others: every other phrase that can be heard.
            expected: those of `legal` that answer the prompt just spoken.

        Raises:
            GrammarError: a word cannot be pronounced.
        """
        names = [name for name in dict.fromkeys((*legal, *others)) if NUMBER not in name]
        if self._phrases is None or list(self._phrases.names) != names:
            ways = {name: self._pronunciations.phrase(name) for name in names}
            self._phrases = PhraseSet(ways) if ways else None
        number = next((name for name in legal if NUMBER in name), "")
        if number and number != self._number:
            self._loop = DigitDecoder(self._number_words(number))
        self._number = number
        self._legal, self._expected = dict(legal), frozenset(expected)

    def tighten(self, by: float) -> None:
        """Want this much more evidence before a phrase is taken or asked back, in log odds."""
        self._stricter = by

    def _number_words(self, phrase: str) -> DigitWords:
        unit = tuple(phrase.replace(NUMBER, "").split())
        values = {word: value for value, words in self._digits.items() for word in words}
        spoken = {word: self._word(word) for word in (*values, *unit)}
        return DigitWords(values, spoken, unit)

    def _word(self, word: str) -> tuple[Way, ...]:
        return tuple(way[0] for way in self._pronunciations.phrase(word))

    def hear(self, samples: Samples) -> Floats:
        """Return the phone probabilities of a stretch of sound (mono 16-bit, `SAMPLE_RATE`)."""
        posteriors = self._model.run(samples.astype("<i2").tobytes())
        if self._bias is None or not len(posteriors):
            return posteriors
        return adapted(posteriors, self._bias)

    def judge(self, samples: Samples, *, within_talk: bool = False) -> Judgement:
        """Decide about a stretch of sound.

        Args:
            samples: mono 16-bit at `SAMPLE_RATE`, with some stillness around the speech.
            within_talk: whether it was cut out of longer talk; then it can at most be asked back.
        """
        if samples.size > LONGEST_SAMPLES:
            within_talk, samples = True, samples[-LONGEST_SAMPLES:]
        posteriors = self.hear(samples)
        if len(spikes(posteriors)) < _LEAST_SPIKES:
            return NOTHING
        found = self._rated(posteriors, within_talk=within_talk)
        if not found:
            return NOTHING
        decision, reason, chosen = choose(found)
        candidate = chosen.candidate
        return Judgement(
            decision,
            candidate.phrase,
            chosen.probability,
            candidate.second,
            reason,
            legal=chosen.stakes is not None,
            needed=chosen.needed,
            figures={**candidate.figures, "before": candidate.before, "after": candidate.after},
            begin=candidate.begin * FRAME_SAMPLES,
            end=candidate.end * FRAME_SAMPLES,
        )

    def _rated(self, posteriors: Floats, *, within_talk: bool) -> list[Rated]:
        """Return the best phrase of all, and the best legal one where that is another."""
        ratio = ratios(posteriors)
        best_score, found = -np.inf, []
        if self._phrases is not None:
            by_way = self._phrases.ways_scores(ratio)
            scores = np.maximum.reduceat(by_way, self._phrases.first)
            best = int(scores.argmax())
            best_score = float(scores[best])
            numbers = [best]
            legal = [n for n, name in enumerate(self._phrases.names) if name in self._legal]
            if legal and best not in legal:
                numbers.append(legal[int(scores[legal].argmax())])
            for number in numbers:
                rated = self._rate(number, self._phrases, by_way, posteriors)
                found += [rated] if rated else []
        spoken = self._spoken_number(posteriors, ratio, best_score)
        chosen = [spoken] if spoken else found
        return [replace(each, within_talk=within_talk, stricter=self._stricter) for each in chosen]

    def _spoken_number(self, posteriors: Floats, ratio: Floats, least: float) -> Rated | None:
        """Return the number said, None where a phrase explains the sound better."""
        words = self._loop.best(posteriors) if self._number and self._loop else ()
        if self._loop is None or not words:
            return None
        rows = PhraseSet(self._loop.variants(words))
        by_way = rows.ways_scores(ratio)
        scores = np.maximum.reduceat(by_way, rows.first)
        best = int(scores.argmax())
        if scores[best] < least:
            return None
        return self._rate(best, rows, by_way, posteriors, self._number)

    def _rate(
        self,
        number: int,
        phrases: PhraseSet,
        by_way: Floats,
        posteriors: Floats,
        legal_as: str = "",
    ) -> Rated | None:
        candidate = measure(number, phrases, by_way, posteriors)
        if candidate is None:
            return None
        name = legal_as or candidate.phrase
        return Rated(
            candidate,
            self._calibration.probability(candidate.figures),
            self._legal.get(name),
            name in self._expected,
        )

    def continued(self, phrase: str) -> bool:
        """Whether a phrase that can be heard goes on where this one ends."""
        names = self._phrases.names if self._phrases else ()
        return any(name.startswith(f"{phrase} ") for name in names)
