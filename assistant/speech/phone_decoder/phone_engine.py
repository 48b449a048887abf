"""Sound in, events out: begin and end of speech, and what was said, from one network.

The network runs over a window that grows with the utterance, and only while something stands out
of the room's noise. Speech is where it hears phones; a pause is where it hears the blank. A phrase
that is complete and clear is taken after a short pause, a doubtful one asked back after a longer
one, and the rest waits for as long as a speaker may hesitate.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from assistant.ports import SAMPLE_RATE, Stakes
from assistant.speech.noise_floor import NoiseFloor
from assistant.speech.pcm import Samples
from assistant.speech.phone_decoder.ask_back_policy import AskBackPolicy
from assistant.speech.phone_decoder.evidence import spikes
from assistant.speech.phone_decoder.phrase_verifier import FRAME_SAMPLES, Judgement, PhraseVerifier

_MS: Final = SAMPLE_RATE // 1000
LEAD: Final = 450 * _MS
"""Samples kept from before the first phone heard: a faint "not" may lie there."""
TAKEN_AFTER: Final = 250 * _MS
"""Blank behind a complete and clear phrase after which it is taken. The last phone peaks some
100 ms before its sound ends: with 150 ms here, 73 of 104 phrases with a "no" 60 ms behind them were
taken before it was heard, 2 of them for good; with 250 ms 20, all undone."""
TAKEN_IN_NOISE_AFTER: Final = 350 * _MS
"""The same where the level has not fallen, so that a word may be on its way."""
ASKED_AFTER: Final = 400 * _MS
"""Blank after which a doubtful phrase is asked back."""
JOINED_WITHIN: Final = 700 * _MS
"""A pause up to this long stands inside an utterance."""
NUMBER_JOINED_WITHIN: Final = 1000 * _MS
"""The same while a number may be said: digits are read off."""
LONGEST: Final = 4000 * _MS
"""Speech that goes on for longer is talk."""
NUMBER_LONGEST: Final = 5500 * _MS
_KEPT: Final = 6 * SAMPLE_RATE
_IDLE_WINDOW: Final = 800 * _MS
_LEAST_WINDOW: Final = 400 * _MS
_IDLE_EVERY: Final = 150 * _MS
_RECENT: Final = 500 * _MS
_SPEAKING_EVERY: Final = 600 * _MS
_SOON: Final = 50 * _MS
_SETTLED: Final = 100 * _MS
"""A dip in level shorter than this lies within a word: the network need not look."""
_AWAKE_FOR: Final = 400 * _MS
_ONSET_SPIKES: Final = 2
_GATE_DB: Final = 2.2
"""Excess over the room's noise from which on the network looks; steady noise reaches 2.1."""
_GATE_FRAMES: Final = 2
_QUIET_SHARE: Final = 0.4
"""Of the way in dB from the room's noise to the loudest block; below, speech has perhaps ended."""
_QUIET_DB: Final = 4.0
"""So far over the room's noise it has, in any case."""


@dataclass(frozen=True, slots=True)
class SpeechBegan:
    """Somebody speaks."""

    time: float
    """When the first phone was heard, in seconds of the caller's clock."""


@dataclass(frozen=True, slots=True)
class Decided:
    """An utterance is over, and this became of it."""

    judgement: Judgement
    clip: bytes
    """Its sound: `judge` gives the same judgement for it again (but for what went before)."""
    begin: float
    """When its first phone was heard, in seconds of the caller's clock."""
    end: float
    """When its last phone was heard."""
    closed: float
    """When the decision fell."""
    speak: bool
    """Whether to say something about it; False for what is to be passed over in silence."""


@dataclass(frozen=True, slots=True)
class TakenBack:
    """A contradiction followed the phrase that was taken last, before the answer to it began."""

    judgement: Judgement
    clip: bytes
    closed: float


Event = SpeechBegan | Decided | TakenBack


@dataclass(slots=True)
class _Utterance:
    """Speech that goes on."""

    first: int
    """Sample of the first phone."""
    last: int
    """Sample of the last phone so far."""
    peak: float
    """Level of the loudest block, dBFS."""
    dropped: bool = False
    talk: bool = False
    stirred: bool = False
    """Whether sound set in again since the phrase was taken."""
    taken: Judgement | None = None
    """The judgement already given out, while the tail is listened to."""


class PhoneEngine:
    """Finds phrases in a stream; a pure function of what it was fed. Knows no thread."""

    def __init__(self, judge: PhraseVerifier) -> None:
        """Listen with this judge."""
        self._judge = judge
        self._floor = NoiseFloor()
        self._kept: Samples = np.zeros(0, dtype=np.int16)
        self._position = 0
        self._base = 0.0
        self._earliest = 0
        self._awake_until = 0
        self._next = 0
        self._speech: _Utterance | None = None
        self._conversation = AskBackPolicy()
        self.level_dbfs = -120.0
        """Level of the last block, in dB relative to full scale."""
        self.floor_dbfs = -120.0
        """Level of the room's noise, in dB relative to full scale."""
        self.least_dbfs = -120.0
        """Where nobody speaks, sound fainter than this is not looked at."""

    @property
    def name(self) -> str:
        """Model, profile and calibration, as they go on record."""
        return self._judge.name

    @property
    def stirring(self) -> bool:
        """Whether sound has set in again behind a phrase just taken: let the answer wait for it."""
        speech = self._speech
        return speech is not None and speech.taken is not None and speech.stirred

    @property
    def in_speech(self) -> bool:
        """Whether an utterance has begun and not ended."""
        return self._speech is not None and self._speech.taken is None

    def set_legal(
        self,
        legal: Mapping[str, Stakes],
        others: Collection[str] = (),
        expected: Collection[str] = (),
    ) -> None:
        """Set what may be said from now on; as `PhraseVerifier.set_legal`."""
        self._judge.set_legal(legal, others, expected)

    def judge(self, clip: bytes) -> Judgement:
        """Decide about a clip of a record again, by what may be said now."""
        return self._judge.judge(np.frombuffer(clip, dtype="<i2"))

    def reset(self) -> None:
        """Forget what was heard; to be called when the program begins to speak, and after it."""
        self._speech = None
        self._earliest = self._position
        self._awake_until = 0

    def answered(self) -> None:
        """Somebody answered by key or in writing: no question is open any more."""
        self._conversation = AskBackPolicy()

    def forget_room(self) -> None:
        """Learn the room's noise again, as after another microphone was opened."""
        self.reset()
        self._floor = NoiseFloor()

    def feed(self, block: Samples, time: float) -> list[Event]:
        """Take the sound that follows and return what happened in it, usually nothing.

        Args:
            block: mono 16-bit at `SAMPLE_RATE`, 50 ms.
            time: when it began, in seconds of any steady clock.
        """
        start = self._position
        self._position += block.size
        self._base = time - start / SAMPLE_RATE
        self._kept = np.concatenate([self._kept, block])[-_KEPT:]
        excess = self._floor.feed(block.astype("<i2").tobytes())
        self.level_dbfs, self.floor_dbfs = excess.level_dbfs, excess.floor_dbfs
        loud = zip(excess.frames, excess.frame_levels, strict=True)
        over = sum(value > _GATE_DB and level > self.least_dbfs for value, level in loud)
        if over >= _GATE_FRAMES:
            if self._speech is None and self._position > self._awake_until:
                self._next = self._position + _SETTLED
            self._awake_until = self._position + _AWAKE_FOR
        if self._speech is not None:
            self._follow_level(self._speech)
        if self._position < self._next:
            return []
        if self._speech is None:
            return self._look_for_speech()
        return self._follow(self._speech)

    def _follow_level(self, speech: _Utterance) -> None:
        """Look soon where the level falls, and not before it falls where sound sets in again."""
        rise = max(speech.peak - self.floor_dbfs, 0.0)
        dropped = self.level_dbfs < self.floor_dbfs + max(_QUIET_SHARE * rise, _QUIET_DB)
        speech.peak = max(speech.peak, self.level_dbfs)
        if dropped and not speech.dropped:
            self._next = self._position + _SETTLED
        if speech.dropped and not dropped:
            self._next = self._position + _SPEAKING_EVERY
            speech.stirred = True
        speech.dropped = dropped

    def _look_for_speech(self) -> list[Event]:
        start = max(self._position - _IDLE_WINDOW, self._earliest)
        if self._position > self._awake_until or self._position - start < _LEAST_WINDOW:
            return []
        self._next = self._position + _IDLE_EVERY
        places = self._spikes(start)
        recent = [place for place in places if place >= self._position - _RECENT]
        if len(recent) < _ONSET_SPIKES:
            return []
        self._speech = _Utterance(recent[0], recent[-1], self.level_dbfs)
        self._next = self._position + _SPEAKING_EVERY
        return [SpeechBegan(self._time(recent[0]))]

    def _spikes(self, start: int) -> list[int]:
        """Return the samples from `start` on at which a phone is heard."""
        posteriors = self._judge.hear(self._cut(start))
        return [start + frame * FRAME_SAMPLES for frame in spikes(posteriors)]

    def _cut(self, start: int) -> Samples:
        return self._kept[max(self._kept.size - (self._position - start), 0) :]

    def _time(self, sample: int) -> float:
        return self._base + sample / SAMPLE_RATE

    def _window(self, speech: _Utterance) -> int:
        """Return the sample at which the sound that is judged begins."""
        longest = NUMBER_LONGEST if self._judge.wants_number else LONGEST
        speech.talk = speech.talk or self._position - speech.first > longest
        return max(speech.first - LEAD, self._earliest, self._position - longest)

    def _follow(self, speech: _Utterance) -> list[Event]:
        """Look at an utterance that has begun."""
        if speech.taken is not None and not speech.stirred:
            self.reset()
            return []
        start = self._window(speech)
        if speech.talk and not speech.dropped:
            start = max(start, self._position - _IDLE_WINDOW)
        places = self._spikes(start)
        if not places and not speech.talk:
            self._speech = None
            return []
        speech.last = max(places[-1] if places else 0, speech.last)
        blank = self._position - speech.last
        if blank < TAKEN_AFTER:
            soon = max(TAKEN_AFTER - blank, _SOON)
            self._next = self._position + (soon if speech.dropped else 2 * soon)
            return []
        return self._paused(speech, self._window(speech), blank)

    def _paused(self, speech: _Utterance, start: int, blank: int) -> list[Event]:
        """Decide, or wait for what may follow."""
        numbers = self._judge.wants_number
        limit = NUMBER_JOINED_WITHIN if numbers else JOINED_WITHIN
        clip = self._cut(start)
        judgement = self._judge.judge(clip, within_talk=speech.talk)
        if speech.taken is not None:
            return self._tail(speech, judgement, clip, blank)
        needed = limit
        if judgement.decision == "accept" and not self._judge.continued(judgement.phrase):
            needed = TAKEN_AFTER if speech.dropped else TAKEN_IN_NOISE_AFTER
        elif judgement.decision in ("ask", "accept"):
            needed = ASKED_AFTER
        if blank < needed:
            self._next = self._position + needed - blank
            return []
        return [self._close(speech, judgement, clip)]

    def _close(self, speech: _Utterance, judgement: Judgement, clip: Samples) -> Decided:
        if speech.talk and judgement.decision == "refuse":
            judgement = replace(judgement, reason="too-long")
        self._conversation, decision, reason, speak = self._conversation.after(
            judgement.decision, judgement.reason, tried=judgement.resembles
        )
        judgement = replace(judgement, decision=decision, reason=reason)
        begin, end = self._time(speech.first), self._time(speech.last + FRAME_SAMPLES)
        if decision == "accept":
            speech.taken, speech.stirred = judgement, False
            self._next = self._position + JOINED_WITHIN
        else:
            self.reset()
        closed = self._time(self._position)
        return Decided(judgement, clip.astype("<i2").tobytes(), begin, end, closed, speak)

    def _tail(
        self, speech: _Utterance, judgement: Judgement, clip: Samples, blank: int
    ) -> list[Event]:
        """Listen on behind a phrase that was taken, until the answer to it begins."""
        if judgement.reason == "contradicted":
            self.reset()
            closed = self._time(self._position)
            return [TakenBack(judgement, clip.astype("<i2").tobytes(), closed)]
        if blank >= JOINED_WITHIN or speech.talk:
            self.reset()
        else:
            self._next = self._position + JOINED_WITHIN - blank
        return []
