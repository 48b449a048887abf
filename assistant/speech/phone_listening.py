"""The phone engine as a phrase engine and as a detector.

An accepted phrase is held back for at least two blocks, and longer while sound follows it: a
contradiction turns it into a refusal before the procedure acts on it.
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
"""Minimum hold time of an accepted phrase, in samples."""


class PhonesEngine:
    """Judges whole utterances; thread-safe, calls wait for each other."""

    def __init__(
        self,
        model: PhoneModel,
        pronunciations: Pronunciations,
        digits: Mapping[str, Sequence[str]],
        profile: VoiceProfile | None = None,
    ) -> None:
        """Store the parts; arguments as for `PhraseVerifier`.

        Raises:
            DeviceError: the calibration is damaged.
        """
        self.verifier = PhraseVerifier(model, pronunciations, digits, profile=profile)
        self.profile_sha256 = profile.digest if profile else ""
        """Hash of the voice profile, "" without one."""
        self._union: frozenset[str] = frozenset()
        self._lock = threading.Lock()

    @property
    def name(self) -> str:
        """Model, profile and calibration, as written to the record."""
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
        """Set the phrases that may be said.

        Raises:
            GrammarError: the union is empty, or a word cannot be pronounced.
        """
        if not union:
            raise GrammarError("There is no phrase to listen for; give at least one")
        with self._lock:
            others = [phrase for phrase in union if NUMBER not in phrase]
            self.verifier.set_legal(legal, others, expected)
            self._union = frozenset(union)

    def tighten(self, by: float) -> None:
        """Require this much more evidence to accept a phrase or ask back, in log odds."""
        with self._lock:
            self.verifier.tighten(by)

    def judge(self, utterance: Utterance) -> Judgement:
        """Judge one utterance; the same samples always give the same judgement."""
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
    """Return a judgement in the session's form; an "unclear" refusal is answered aloud.

    Args:
        found: result of the phone decoder.
        utterance: the utterance judged.
        engine: name of the engine.
        speak: whether a refusal is answered aloud.
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
    """Finds and judges utterances with one network."""

    def __init__(self, engine: PhonesEngine) -> None:
        """Use the phrases, thresholds and voice profile of an engine."""
        self._name = engine.name
        self._phones = PhoneEngine(engine.verifier)
        self._position = 0
        self._lost_at = -1
        self._held: PlacedJudgement | None = None
        self._held_until = 0

    @property
    def position(self) -> int:
        """Samples fed so far, including skipped ones."""
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
        """Process 50 ms of sound and return the judgements made in it, usually none."""
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
        """Refuse the held phrase, together with the sound that contradicts it."""
        held, self._held = self._held, None
        if held is None:
            return []
        utterance = Utterance(pcm=event.clip)
        judgement = judged(event.judgement, utterance, self._name, speak=False)
        return [_refused(PlacedJudgement(judgement, held.segment), "contradicted")]

    def _release(self) -> list[PlacedJudgement]:
        """Release the held phrase; sound after it belongs to a new utterance."""
        held, self._held = self._held, None
        if held is None:
            return []
        self._phones.reset()
        return [held]

    def skip(self, samples: int) -> list[PlacedJudgement]:
        """Skip sound, for example during a prompt."""
        self._position += samples
        return self._release()

    def reset(self) -> None:
        """Discard an utterance in progress; keep the noise estimate.

        A held phrase was already complete. If sound follows it, the operator may have taken it
        back.
        """
        if self._held is not None and self._phones.stirring:
            self._held = _refused(self._held, "unclear")
        self._phones.reset()

    def answering(self) -> None:
        """The answer to an accepted phrase begins: ignore the sound that follows the phrase."""
        if not self._phones.in_speech:
            self.reset()

    def answered(self) -> None:
        """The operator answered by key or by typing: no question is pending any more."""
        self._phones.answered()

    def finish(self) -> list[PlacedJudgement]:
        """Judge the utterance that the end of the stream cut off, as if silence followed."""
        out: list[PlacedJudgement] = []
        for _ in range(NUMBER_JOINED_WITHIN // BLOCK_SAMPLES + 8):
            out += self.feed(bytes(2 * BLOCK_SAMPLES))
        return out

    def sound_lost(self) -> None:
        """Samples are missing here; an utterance that spans the gap is refused."""
        self._lost_at = self._position
        if self._held is not None:
            self._held = _refused(self._held, "overflow")

    def forget_room(self) -> None:
        """Re-learn the room's noise, for example after a change of microphone."""
        self._phones.forget_room()

    def allow_numbers(self, *, wanted: bool) -> None:
        """Do nothing: the legal phrases tell the engine whether a number is asked for."""

    def ignore_below(self, dbfs: float) -> None:
        """Treat fainter sound as noise, never as speech; in dB relative to full scale."""
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
    """Return the judgement, changed to a refusal."""
    told = placed.judgement
    return PlacedJudgement(
        Judgement("refuse", told.text, reason, told.utterance, told.engine, told.scores),
        placed.segment,
    )
