"""The path of one utterance, from the microphone's blocks to a judgement.

    block of 50 ms
      -> gate             closed during prompts, so that the program does not hear itself
      -> endpointer       cuts the utterance out (`endpoint`)
      -> early judgement  begins on an utterance that has perhaps ended (`early_judgement`)
      -> checks           no sound missing, neither too long nor too short
      -> phrase engine    accepts, asks back or refuses (`embedded_engine`, `vosk_engine`)
      -> Judgement        `session.utterance_to_event` turns it into an event

`ListeningPipeline.listen` is that path; its steps stand below it in this order. The gate is closed
from the start of a prompt until its real end plus a tail. Nothing reaches the endpointer meanwhile;
it is told how much it missed. A few phrases may pass even then, by `BargeIn` with an endpointer of
its own, or with a headset all of them.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Judgement, Utterance
from assistant.speech.barge_in import BargeIn
from assistant.speech.endpoint import Endpointer, Segment, for_numbers

Judge = Callable[[Utterance], Judgement]
"""Decides about one utterance: the `judge` of a `PhraseEngine`."""

DEFAULT_TAIL_MS = 350
"""The gate stays shut for this long after a prompt: echo of the room and delay of the devices."""

_BYTES_PER_MS = 2 * SAMPLE_RATE // 1000


@dataclass(frozen=True, slots=True)
class PlacedJudgement:
    """A judgement with where in the stream it came from."""

    judgement: Judgement
    segment: Segment


class ListeningPipeline:
    """Turns blocks of sound into judgements; does nothing by itself and knows no thread."""

    def __init__(
        self,
        judge: Judge,
        *,
        endpointer: Endpointer | None = None,
        tail_ms: int = DEFAULT_TAIL_MS,
        while_speaking: Judge | None = None,
        strict: BargeIn | None = None,
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

    def feed(self, block: bytes) -> list[Judgement]:
        """Take one block of 50 ms and return what was decided in it, usually nothing."""
        return [heard.judgement for heard in self.listen(block)]

    def listen(self, block: bytes) -> list[PlacedJudgement]:
        """Do what `feed` does and also return the place of each utterance in the stream."""
        self._keep(block)
        if self.shut:
            if self._while_speaking is None:
                self._endpointer.skip(BLOCK_SAMPLES)
                passed = self._strict.listen(block) if self._strict is not None else None
                return [PlacedJudgement(*passed)] if passed else []
            self._spoken_over = self.position
        elif self._strict is not None:
            self._strict.follow(block)
        heard = self._decide(self._endpointer.feed(block))
        self._look_ahead()
        return heard

    @property
    def shut(self) -> bool:
        """Whether the gate keeps the sound out."""
        return self._speaking or self.position < self._shut_until

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

    def _decide(self, segment: Segment | None) -> list[PlacedJudgement]:
        if segment is None:
            return []
        begin = self._begin(segment.first_sample)
        if self._lost_at >= begin:
            return [PlacedJudgement(_refused(segment, "overflow"), segment)]
        if segment.ended_by == "limit":
            return [PlacedJudgement(_refused(segment, "too-long"), segment)]
        if segment.too_short:
            return [PlacedJudgement(_refused(segment, "too-short"), segment)]
        # Whatever a prompt may have leaked into is for the strict judge, wherever it ended.
        over = self._while_speaking is not None and begin <= self._spoken_over
        judge = self._while_speaking if over and self._while_speaking else self._judge
        return [PlacedJudgement(judge(segment.utterance), segment)]

    def _begin(self, first_sample: int) -> int:
        """Place where the sound of an utterance begins that is first loud there."""
        before = self._endpointer.settings.pre_roll_ms * SAMPLE_RATE // 1000
        return max(first_sample - before, 0)

    def finish(self) -> list[Judgement]:
        """Decide on what the end of the stream cut off."""
        return [heard.judgement for heard in self._decide(self._endpointer.finish())]

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


def _refused(segment: Segment, reason: str) -> Judgement:
    """Refuse an utterance that no recogniser needs to hear."""
    return Judgement(
        decision="refuse",
        text="",
        reason=reason,
        utterance=segment.utterance,
        engine="endpointer",
        scores={"duration-ms": str(segment.duration_ms)},
    )
