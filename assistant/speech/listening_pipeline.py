"""The path of one utterance, from the microphone's blocks to a judgement.

    block of 50 ms
      -> clip       kept while a remark is recorded
      -> gate       closed during prompts, so that the program does not hear itself
      -> barge-in   lets a few phrases through a closed gate (`barge_in`)
      -> detector   start and end of speech, and what was said (`phone_listening`, `cut_and_judge`)
      -> Judgement  `session.utterance_to_event` turns it into an event

`ListeningPipeline.listen` implements that path. The gate is closed from the start of a prompt until
the end of its sound plus a tail. Meanwhile the detector gets no sound, only the amount it missed.
With a headset the gate stays open.
"""

from collections.abc import Sequence

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Judgement
from assistant.speech.barge_in import BargeIn
from assistant.speech.detector import Detector, PlacedJudgement

DEFAULT_TAIL_MS = 350
"""How long the gate stays closed after a prompt, for the room's echo and the devices' delay."""

_BYTES_PER_MS = 2 * SAMPLE_RATE // 1000
_QUIETEST_DBFS = -120.0


class ListeningPipeline:
    """Turns blocks of sound into judgements; it starts no thread of its own."""

    def __init__(
        self,
        detector: Detector,
        *,
        tail_ms: int = DEFAULT_TAIL_MS,
        headset: bool = False,
        strict: BargeIn | None = None,
    ) -> None:
        """Connect the parts.

        Args:
            detector: finds and judges what is said.
            tail_ms: how long the gate stays closed after a prompt, in milliseconds.
            headset: whether the microphone cannot pick up the prompts; then the gate stays open.
            strict: barge-in during a prompt from a loudspeaker; without it no phrase passes.
        """
        self._detector = detector
        self._headset = headset
        self._strict = strict
        self._tail = tail_ms * SAMPLE_RATE // 1000
        self._speaking = False
        self._shut_until = 0
        self._least_dbfs = _QUIETEST_DBFS
        self._clip: bytearray | None = None
        self._clip_limit = 0

    def feed(self, block: bytes) -> list[Judgement]:
        """Process one block of 50 ms and return the judgements made in it, usually none."""
        return [heard.judgement for heard in self.listen(block)]

    def listen(self, block: bytes) -> list[PlacedJudgement]:
        """Like `feed`, but also return the position of each utterance in the stream."""
        self._keep(block)
        if self.shut and not self._headset:
            heard = self._detector.skip(BLOCK_SAMPLES)
            passed = self._strict.listen(block) if self._strict is not None else None
            return [*heard, PlacedJudgement(*passed)] if passed else heard
        if self._strict is not None:
            self._strict.follow(block)
        return self._detector.feed(block)

    @property
    def shut(self) -> bool:
        """Whether a prompt or the tail after it is in progress; this closes the gate, if any."""
        return self._speaking or self.position < self._shut_until

    def finish(self) -> list[Judgement]:
        """Judge the utterance that the end of the stream cut off."""
        return [heard.judgement for heard in self._detector.finish()]

    @property
    def level_dbfs(self) -> float:
        """Level of the last block listened to, in dB relative to full scale."""
        return self._detector.level_dbfs

    @property
    def floor_dbfs(self) -> float:
        """Level of the room's noise, in dB relative to full scale."""
        return self._detector.floor_dbfs

    @property
    def least_dbfs(self) -> float:
        """Minimum level of speech, in dB relative to full scale."""
        return self._least_dbfs

    @property
    def position(self) -> int:
        """Samples fed so far."""
        return self._detector.position

    def allow_through(self, phrases: Sequence[str]) -> None:
        """Set which phrases may pass during prompts from a loudspeaker; all must be legal."""
        if self._strict is not None:
            self._strict.allow(phrases)

    def prompt_started(self, spoken: str = "") -> None:
        """Close the gate; without a headset an utterance in progress is discarded.

        Args:
            spoken: the words of the prompt; phrases in it cannot pass meanwhile.
        """
        self._speaking = True
        if self._strict is not None:
            self._strict.prompt_started(spoken)
        self._detector.answering()
        if not self._headset:
            self._detector.reset()

    def prompt_ended(self) -> None:
        """Open the gate after the tail; call this when the sound has really ended."""
        if self._speaking:
            self._speaking = False
            self._shut_until = self.position + self._tail

    def answered(self) -> None:
        """The operator answered by key or by typing."""
        self._detector.answered()

    def sound_lost(self) -> None:
        """Report missing samples; an utterance that spans the gap cannot be trusted."""
        self._detector.sound_lost()

    def microphone_changed(self) -> None:
        """Re-learn the room's noise."""
        self._detector.forget_room()
        if self._strict is not None:
            self._strict.forget_room()

    def allow_numbers(self, *, wanted: bool) -> None:
        """While a number is asked for, allow the longer duration and pauses of digits."""
        self._detector.allow_numbers(wanted=wanted)

    def ignore_below(self, dbfs: float) -> None:
        """Treat fainter sound as noise, never as speech; in dB relative to full scale."""
        self._least_dbfs = dbfs
        self._detector.ignore_below(dbfs)
        if self._strict is not None:
            self._strict.ignore_below(dbfs)

    def start_clip(self, seconds: float) -> None:
        """Start recording the input, for a spoken remark.

        Args:
            seconds: maximum duration.
        """
        self._clip = bytearray()
        self._clip_limit = round(seconds * 1000) * _BYTES_PER_MS

    def stop_clip(self) -> bytes:
        """Return the sound recorded since `start_clip`, empty without one."""
        clip, self._clip = self._clip, None
        return bytes(clip or b"")

    def _keep(self, block: bytes) -> None:
        if self._clip is not None:
            self._clip += block[: self._clip_limit - len(self._clip)]
