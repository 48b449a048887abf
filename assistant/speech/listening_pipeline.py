"""The path of one utterance, from the microphone's blocks to a judgement.

    block of 50 ms
      -> clip       kept where a remark is taken
      -> gate       closed during prompts, so that the program does not hear itself
      -> barge-in   lets a few phrases through a closed gate (`barge_in`)
      -> detector   begin and end of speech, and what was said (`phone_listening`, `cut_and_judge`)
      -> Judgement  `session.utterance_to_event` turns it into an event

`ListeningPipeline.listen` is that path. The gate is closed from the start of a prompt until its
real end plus a tail. Nothing reaches the detector meanwhile; it is told how much it missed. With a
headset the gate stays open.
"""

from collections.abc import Sequence

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Judgement
from assistant.speech.barge_in import BargeIn
from assistant.speech.detector import Detector, PlacedJudgement

DEFAULT_TAIL_MS = 350
"""The gate stays shut for this long after a prompt: echo of the room and delay of the devices."""

_BYTES_PER_MS = 2 * SAMPLE_RATE // 1000
_QUIETEST_DBFS = -120.0


class ListeningPipeline:
    """Turns blocks of sound into judgements; does nothing by itself and knows no thread."""

    def __init__(
        self,
        detector: Detector,
        *,
        tail_ms: int = DEFAULT_TAIL_MS,
        headset: bool = False,
        strict: BargeIn | None = None,
    ) -> None:
        """Join the parts.

        Args:
            detector: finds and judges what is said.
            tail_ms: how long the gate stays shut after a prompt, in milliseconds.
            headset: whether prompts cannot be heard in the microphone; then the gate stays open.
            strict: lets a few phrases pass during a prompt from a loudspeaker; without it none.
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
        """Take one block of 50 ms and return what was decided in it, usually nothing."""
        return [heard.judgement for heard in self.listen(block)]

    def listen(self, block: bytes) -> list[PlacedJudgement]:
        """Do what `feed` does and also return the place of each utterance in the stream."""
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
        """Whether a prompt, or the tail behind one, keeps the gate shut where there is one."""
        return self._speaking or self.position < self._shut_until

    def finish(self) -> list[Judgement]:
        """Decide on what the end of the stream cut off."""
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
        """What is fainter is not taken for speech, in dB relative to full scale."""
        return self._least_dbfs

    @property
    def position(self) -> int:
        """Samples fed so far."""
        return self._detector.position

    def allow_through(self, phrases: Sequence[str]) -> None:
        """Set which phrases may pass during prompts from a loudspeaker; all of them legal."""
        if self._strict is not None:
            self._strict.allow(phrases)

    def prompt_started(self, spoken: str = "") -> None:
        """Shut the gate; an utterance that had begun is dropped, but for one in a headset.

        Args:
            spoken: the words of the prompt; what it says itself cannot pass meanwhile.
        """
        self._speaking = True
        if self._strict is not None:
            self._strict.prompt_started(spoken)
        self._detector.answering()
        if not self._headset:
            self._detector.reset()

    def prompt_ended(self) -> None:
        """Open the gate after the tail; to be called at the real end of the sound."""
        if self._speaking:
            self._speaking = False
            self._shut_until = self.position + self._tail

    def answered(self) -> None:
        """Somebody answered by key or in writing."""
        self._detector.answered()

    def sound_lost(self) -> None:
        """Take note that samples are missing here; the utterance around them cannot be trusted."""
        self._detector.sound_lost()

    def microphone_changed(self) -> None:
        """Learn the room's noise again."""
        self._detector.forget_room()
        if self._strict is not None:
            self._strict.forget_room()

    def allow_numbers(self, *, wanted: bool) -> None:
        """Give digits the time and the pauses that they need, while a number is asked for."""
        self._detector.allow_numbers(wanted=wanted)

    def ignore_below(self, dbfs: float) -> None:
        """Take nothing fainter for speech, in dB relative to full scale."""
        self._least_dbfs = dbfs
        self._detector.ignore_below(dbfs)
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
