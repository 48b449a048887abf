"""The way of a sound: blocks -> gate -> end of speech -> judgement.

The gate is shut from the start of a prompt until its real end plus a tail, so that the program
does not hear itself. Nothing is fed to the detector meanwhile; it is told how much it missed. What
little may pass then is for `StrictListening`, which has a detector of its own.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Recogniser, Utterance, Verdict
from assistant.speech.barge_in import StrictListening
from assistant.speech.endpoint import Endpointer, Segment, for_numbers

Judge = Callable[[Utterance], Verdict]
"""Decides on one utterance; the acceptance layer, or `PlainJudge`."""

DEFAULT_TAIL_MS = 350
"""The gate stays shut for this long after a prompt: echo of the room and delay of the devices."""

_BYTES_PER_MS = 2 * SAMPLE_RATE // 1000


class PlainJudge:
    """Accepts whatever the grammar makes of an utterance: the baseline, without any safeguard."""

    def __init__(self, recogniser: Recogniser) -> None:
        """Judge by this recogniser; its phrases are set by whoever owns it."""
        self._recogniser = recogniser

    def __call__(self, utterance: Utterance) -> Verdict:
        """Accept a phrase, refuse when none fits."""
        found = self._recogniser.hear(utterance)
        return Verdict(
            decision="accept" if found.text else "refuse",
            text=found.text,
            reason="" if found.text else "no-phrase",
            utterance=utterance,
            engine=self._recogniser.name,
        )


@dataclass(frozen=True, slots=True)
class Heard:
    """A verdict with where in the stream it came from."""

    verdict: Verdict
    segment: Segment


class Ear:
    """Turns blocks of sound into verdicts; does nothing by itself and knows no thread."""

    def __init__(
        self,
        judge: Judge,
        *,
        endpointer: Endpointer | None = None,
        tail_ms: int = DEFAULT_TAIL_MS,
        while_speaking: Judge | None = None,
        strict: StrictListening | None = None,
        expect: Callable[[Utterance], None] | None = None,
    ) -> None:
        """Join the parts.

        Args:
            judge: decides on each utterance.
            endpointer: finds the utterances; one with the usual durations if not given.
            tail_ms: how long the gate stays shut after a prompt, in milliseconds.
            while_speaking: decides on what is heard during a prompt; without it nothing is. With a
                headset this may be `judge` itself.
            strict: lets a few phrases pass during a prompt from a loudspeaker; without it none.
            expect: told of each utterance that has perhaps ended, so that `judge` may begin on it.
        """
        self._judge = judge
        self._while_speaking = while_speaking
        self._strict = strict
        self._expect = expect
        self._endpointer = endpointer or Endpointer()
        self._settings = self._endpointer.settings
        self._numbers = False
        self._tail = tail_ms * SAMPLE_RATE // 1000
        self._speaking = False
        self._shut_until = 0
        self._lost_at = -1
        self._spoken_over = -1
        self._clip: bytearray | None = None
        self._clip_limit = 0

    @property
    def level_dbfs(self) -> float:
        """Level of the last block listened to, in dB relative to full scale."""
        return self._endpointer.level_dbfs

    @property
    def floor_dbfs(self) -> float:
        """Level of the room's noise, in dB relative to full scale."""
        return self._endpointer.floor_dbfs

    @property
    def least_dbfs(self) -> float:
        """What is fainter is not taken for speech, in dB relative to full scale."""
        return self._settings.least_dbfs

    @property
    def position(self) -> int:
        """Samples fed so far."""
        return self._endpointer.position

    @property
    def shut(self) -> bool:
        """Whether the gate keeps the sound out."""
        return self._speaking or self.position < self._shut_until

    def allow_through(self, phrases: Sequence[str]) -> None:
        """Set which phrases may pass during prompts from a loudspeaker; all of them legal."""
        if self._strict is not None:
            self._strict.allow(phrases)

    def prompt_started(self, spoken: str = "") -> None:
        """Shut the gate; an utterance that had begun is dropped.

        Args:
            spoken: the words of the prompt; what it says itself cannot pass meanwhile.
        """
        self._speaking = True
        if self._strict is not None:
            self._strict.prompt_started(spoken)
        if self._while_speaking is None:
            self._endpointer.reset()

    def prompt_ended(self) -> None:
        """Open the gate after the tail; to be called at the real end of the sound."""
        if self._speaking:
            self._speaking = False
            self._shut_until = self.position + self._tail

    def sound_lost(self) -> None:
        """Take note that samples are missing here; the utterance around them cannot be trusted."""
        self._lost_at = self.position

    def microphone_changed(self) -> None:
        """Learn the room's noise again."""
        self._endpointer.forget_room()
        if self._strict is not None:
            self._strict.forget_room()

    def allow_numbers(self, *, wanted: bool) -> None:
        """Give digits the time and the pauses that they need, while a number is asked for."""
        self._numbers = wanted
        self._endpointer.settings = for_numbers(self._settings) if wanted else self._settings

    def ignore_below(self, dbfs: float) -> None:
        """Take nothing fainter for speech, in dB relative to full scale."""
        self._settings = replace(self._settings, least_dbfs=dbfs)
        self.allow_numbers(wanted=self._numbers)
        if self._strict is not None:
            self._strict.ignore_below(dbfs)

    def feed(self, block: bytes) -> list[Verdict]:
        """Take one block of 50 ms and return what was decided in it, usually nothing."""
        return [heard.verdict for heard in self.listen(block)]

    def listen(self, block: bytes) -> list[Heard]:
        """Do what `feed` does and also return the place of each utterance in the stream."""
        self._keep(block)
        if self.shut:
            if self._while_speaking is None:
                self._endpointer.skip(BLOCK_SAMPLES)
                passed = self._strict.listen(block) if self._strict is not None else None
                return [Heard(*passed)] if passed else []
            self._spoken_over = self.position
        elif self._strict is not None:
            self._strict.follow(block)
        heard = self._decide(self._endpointer.feed(block))
        self._look_ahead()
        return heard

    def _look_ahead(self) -> None:
        """Tell of an utterance that has perhaps ended, if it will be for the usual judge."""
        began = self._endpointer.began
        if self._expect is None or began is None:
            return
        if max(self._lost_at, self._spoken_over) >= self._begin(began):
            return
        perhaps = self._endpointer.pending()
        if perhaps is not None:
            self._expect(perhaps)

    def _begin(self, first_sample: int) -> int:
        """Place where the sound of an utterance begins that is first loud there."""
        before = self._endpointer.settings.pre_roll_ms * SAMPLE_RATE // 1000
        return max(first_sample - before, 0)

    def finish(self) -> list[Verdict]:
        """Decide on what the end of the stream cut off."""
        return [heard.verdict for heard in self._decide(self._endpointer.finish())]

    def _decide(self, segment: Segment | None) -> list[Heard]:
        if segment is None:
            return []
        begin = self._begin(segment.first_sample)
        if self._lost_at >= begin:
            return [Heard(_refused(segment, "overflow"), segment)]
        if segment.ended_by == "limit":
            return [Heard(_refused(segment, "too-long"), segment)]
        if segment.too_short:
            return [Heard(_refused(segment, "too-short"), segment)]
        # Whatever a prompt may have leaked into is for the strict judge, wherever it ended.
        over = self._while_speaking is not None and begin <= self._spoken_over
        judge = self._while_speaking if over and self._while_speaking else self._judge
        return [Heard(judge(segment.utterance), segment)]

    def start_clip(self, seconds: float) -> None:
        """Start to keep everything that comes in, for a spoken remark.

        Args:
            seconds: the most that is kept.
        """
        self._clip = bytearray()
        self._clip_limit = round(seconds * 1000) * _BYTES_PER_MS

    def stop_clip(self) -> bytes:
        """Return the sound kept since `start_clip`, "" when there was none."""
        clip, self._clip = self._clip, None
        return bytes(clip or b"")

    def _keep(self, block: bytes) -> None:
        if self._clip is not None:
            self._clip += block[: self._clip_limit - len(self._clip)]


def _refused(segment: Segment, reason: str) -> Verdict:
    """Refuse an utterance that no recogniser needs to hear."""
    return Verdict(
        decision="refuse",
        text="",
        reason=reason,
        utterance=segment.utterance,
        engine="endpointer",
        scores={"duration-ms": str(segment.duration_ms)},
    )
