"""The phone engine as a phrase engine and as a detector.

A phrase that was taken is held back for two blocks, and while something sounds behind it: a
contradiction turns it into a refusal before anybody acts on it.
"""

import threading
from collections.abc import Collection, Mapping, Sequence
from typing import Final

import numpy as np

from assistant.errors import GrammarError
from assistant.grammar.rendering import NUMBER
from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, EngineFacts, Judgement, Stakes, Utterance
from assistant.speech.detector import PlacedJudgement
from assistant.speech.endpoint import CLIPPED_AT, Segment
from assistant.speech.pcm import FULL_SCALE, samples_of
from assistant.speech.phone_decoder import (
    Decided,
    PhoneEngine,
    PhoneModel,
    PhraseVerifier,
    Pronunciations,
    TakenBack,
    VoiceProfile,
)
from assistant.speech.phone_decoder import Judgement as Found
from assistant.speech.phone_decoder.decision import log_odds
from assistant.speech.phone_decoder.phone_engine import LEAD, NUMBER_JOINED_WITHIN

HELD: Final = 2 * BLOCK_SAMPLES
"""Samples for which a phrase that was taken is held back at least."""


class PhonesEngine:
    """Decides about whole utterances; may be used from several threads, calls wait."""

    def __init__(
        self,
        model: PhoneModel,
        pronunciations: Pronunciations,
        digits: Mapping[str, Sequence[str]],
        profile: VoiceProfile | None = None,
    ) -> None:
        """Take over the parts; as for `PhraseVerifier`.

        Raises:
            DeviceError: the calibration is damaged.
        """
        self.verifier = PhraseVerifier(model, pronunciations, digits, profile=profile)
        self.profile_sha256 = profile.digest if profile else ""
        """Of the voice profile, "" without one."""
        self._union: frozenset[str] = frozenset()
        self._lock = threading.Lock()

    @property
    def name(self) -> str:
        """Model, profile and calibration, as they go on record."""
        return self.verifier.name

    @property
    def facts(self) -> EngineFacts:
        """Name, version and model file with its SHA-256."""
        model = self.verifier.model
        return EngineFacts("phones-en", model.version, "phones-en.onnx", model.sha256)

    def prepare(
        self,
        union: Sequence[str],
        legal: Mapping[str, Stakes],
        expected: Collection[str] = (),
    ) -> None:
        """Set what may be said from now on.

        Raises:
            GrammarError: the union is empty, or a word cannot be pronounced.
        """
        if not union:
            raise GrammarError("There is no phrase to listen for; give at least one, with words")
        with self._lock:
            others = [phrase for phrase in union if NUMBER not in phrase]
            self.verifier.set_legal(legal, others, expected)
            self._union = frozenset(union)

    def tighten(self, by: float) -> None:
        """Want this much more evidence before a phrase is taken or asked back, in log odds."""
        with self._lock:
            self.verifier.tighten(by)

    def judge(self, utterance: Utterance) -> Judgement:
        """Decide about one utterance; the same samples always give the same judgement."""
        if utterance.source != "voice":
            phrase = " ".join(utterance.typed.lower().split())
            known = phrase in self._union
            if known:
                return Judgement("accept", phrase, "", utterance, self.name)
            return Judgement("refuse", phrase, "no-phrase", utterance, self.name)
        with self._lock:
            found = self.verifier.judge(samples_of(utterance.pcm))
        return judged(found, utterance, self.name, speak=False)


def judged(found: Found, utterance: Utterance, engine: str, *, speak: bool) -> Judgement:
    """Return a judgement as a session takes it; an "unclear" refusal is answered aloud.

    Args:
        found: by the phone decoder.
        utterance: that it is about.
        engine: its name.
        speak: whether a refusal is to be answered aloud.
    """
    reason: str = found.reason
    if found.decision == "refuse" and speak:
        reason = "unclear"
    elif found.decision == "refuse" and reason == "unclear":
        reason = "no-phrase"
    figures = {
        **found.figures,
        "probability": found.probability,
        "total": log_odds(found.probability),
        "accept": log_odds(found.needed),
        "legal": float(found.legal),
    }
    scores = {name: f"{value:.4f}" for name, value in figures.items()} if found.phrase else {}
    return Judgement(found.decision, found.phrase, reason, utterance, engine, scores)


class PhoneDetector:
    """Finds and judges what is said by one network."""

    def __init__(self, engine: PhonesEngine) -> None:
        """Listen with the phrases, thresholds and voice of an engine."""
        self._name = engine.name
        self._phones = PhoneEngine(engine.verifier)
        self._position = 0
        self._lost_at = -1
        self._held: PlacedJudgement | None = None
        self._held_until = 0

    @property
    def position(self) -> int:
        """Samples fed so far, skipped ones included."""
        return self._position

    @property
    def level_dbfs(self) -> float:
        """Level of the last block, in dB relative to full scale."""
        return self._phones.level_dbfs

    @property
    def floor_dbfs(self) -> float:
        """Level of the room's noise, in dB relative to full scale."""
        return self._phones.floor_dbfs

    def feed(self, block: bytes) -> list[PlacedJudgement]:
        """Take 50 ms of sound and return what was decided in it, usually nothing."""
        time = self._position / SAMPLE_RATE
        self._position += BLOCK_SAMPLES
        out: list[PlacedJudgement] = []
        for event in self._phones.feed(samples_of(block), time):
            match event:
                case Decided():
                    out += self._decided(event)
                case TakenBack():
                    out += self._taken_back(event)
                case _:
                    pass
        if self._position >= self._held_until and not self._phones.stirring:
            out += self._release()
        return out

    def _decided(self, event: Decided) -> list[PlacedJudgement]:
        utterance = Utterance(pcm=event.clip)
        judgement = judged(event.judgement, utterance, self._name, speak=event.speak)
        placed = PlacedJudgement(judgement, self._segment(event, utterance))
        if self._lost_at >= max(placed.segment.first_sample - LEAD, 0):
            self._phones.reset()
            return [_refused(placed, "overflow")]
        if judgement.decision != "accept":
            return [placed]
        self._held, self._held_until = placed, self._position + HELD
        return []

    def _taken_back(self, event: TakenBack) -> list[PlacedJudgement]:
        """Refuse what is held, with the sound that contradicts it."""
        held, self._held = self._held, None
        if held is None:
            return []
        utterance = Utterance(pcm=event.clip)
        judgement = judged(event.judgement, utterance, self._name, speak=False)
        return [_refused(PlacedJudgement(judgement, held.segment), "contradicted")]

    def _release(self) -> list[PlacedJudgement]:
        """Give out what is held; from here on the sound behind it is something new."""
        held, self._held = self._held, None
        if held is None:
            return []
        self._phones.reset()
        return [held]

    def skip(self, samples: int) -> list[PlacedJudgement]:
        """Skip sound, as during a prompt."""
        self._position += samples
        return self._release()

    def reset(self) -> None:
        """Drop an utterance that has begun; the room's noise stays known.

        A phrase that is held was complete before. With sound behind it, nobody knows whether it
        was taken back.
        """
        if self._held is not None and self._phones.stirring:
            self._held = _refused(self._held, "unclear")
        self._phones.reset()

    def answering(self) -> None:
        """The answer to what was taken begins: listen no more to the sound behind it."""
        if not self._phones.in_speech:
            self.reset()

    def answered(self) -> None:
        """Somebody answered by key or in writing: no question is open any more."""
        self._phones.answered()

    def finish(self) -> list[PlacedJudgement]:
        """Decide on what the end of the stream cut off, as if silence followed."""
        out: list[PlacedJudgement] = []
        for _ in range(NUMBER_JOINED_WITHIN // BLOCK_SAMPLES + 8):
            out += self.feed(bytes(2 * BLOCK_SAMPLES))
        return out

    def sound_lost(self) -> None:
        """Samples are missing here; an utterance around them is refused."""
        self._lost_at = self._position
        if self._held is not None:
            self._held = _refused(self._held, "overflow")

    def forget_room(self) -> None:
        """Learn the room's noise again, as after another microphone was opened."""
        self._phones.forget_room()

    def allow_numbers(self, *, wanted: bool) -> None:
        """The engine knows from the legal phrases whether a number is asked for."""

    def ignore_below(self, dbfs: float) -> None:
        """Take nothing fainter for speech, in dB relative to full scale."""
        self._phones.least_dbfs = dbfs

    def _segment(self, event: Decided, utterance: Utterance) -> Segment:
        first, last = (round(time * SAMPLE_RATE) for time in (event.begin, event.end))
        closed = round(event.closed * SAMPLE_RATE)
        samples = samples_of(utterance.pcm)
        stop = samples.size - (closed - last)
        speech = samples[max(stop - (last - first), 0) : max(stop, 1)].astype(np.float64)
        power = float(np.mean(speech**2)) / FULL_SCALE**2 if speech.size else 0.0
        return Segment(
            utterance=utterance,
            ended_by="limit" if event.judgement.reason == "too-long" else "quiet",
            duration_ms=(last - first) * 1000 // SAMPLE_RATE,
            first_sample=first,
            last_sample=last,
            closed_sample=closed,
            level_dbfs=float(10 * np.log10(max(power, 1e-12))),
            floor_dbfs=self.floor_dbfs,
            clipped=int(np.count_nonzero(np.abs(speech) >= CLIPPED_AT)),
            too_short=False,
        )


def _refused(placed: PlacedJudgement, reason: str) -> PlacedJudgement:
    """Return the same, refused."""
    told = placed.judgement
    return PlacedJudgement(
        Judgement("refuse", told.text, reason, told.utterance, told.engine, told.scores),
        placed.segment,
    )
