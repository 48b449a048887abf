"""The detector for engines that judge whole utterances (pocketsphinx, Vosk).

block of 50 ms
-> endpointer       cuts the utterance out by its level (`endpoint`)
-> early judgement  begins on an utterance that has perhaps ended (`early_judgement`)
-> checks           no sound missing, neither too long nor too short
-> phrase engine    accepts, asks back or refuses
"""

from collections.abc import Callable
from dataclasses import replace

from assistant.ports import SAMPLE_RATE, Judgement, Utterance
from assistant.speech.detector import PlacedJudgement
from assistant.speech.endpoint import Endpointer, Segment, for_numbers

Judge = Callable[[Utterance], Judgement]
"""Judges one utterance: the `judge` method of a `PhraseEngine`."""


class CutAndJudge:
    """Segments utterances by level and passes each one to a judge."""

    def __init__(
        self,
        judge: Judge,
        *,
        endpointer: Endpointer | None = None,
        expect: Callable[[Utterance], None] | None = None,
    ) -> None:
        """Connect the parts.

        Args:
            judge: judges each utterance.
            endpointer: finds the utterances; by default one with the usual durations.
            expect: called with each utterance that may have ended, so that `judge` can start early.
        """
        self._judge = judge
        self._expect = expect
        self._endpointer = endpointer or Endpointer()
        self._settings = self._endpointer.settings
        self._numbers = False
        self._lost_at = -1

    @property
    def position(self) -> int:
        """Samples fed so far, including skipped ones."""
        return self._endpointer.position

    @property
    def level_dbfs(self) -> float:
        """Level of the last block, in dB relative to full scale."""
        return self._endpointer.level_dbfs

    @property
    def floor_dbfs(self) -> float:
        """Level of the room's noise, in dB relative to full scale."""
        return self._endpointer.floor_dbfs

    def feed(self, block: bytes) -> list[PlacedJudgement]:
        """Process 50 ms of sound and return the judgements made in it, usually none."""
        heard = self._decide(self._endpointer.feed(block))
        self._look_ahead()
        return heard

    def skip(self, samples: int) -> list[PlacedJudgement]:
        """Skip sound, for example during a prompt."""
        self._endpointer.skip(samples)
        return []

    def reset(self) -> None:
        """Discard an utterance in progress; keep the noise estimate."""
        self._endpointer.reset()

    def answering(self) -> None:
        """Do nothing: sound after an utterance is never examined."""

    def answered(self) -> None:
        """Do nothing: each utterance is judged by itself."""

    def _look_ahead(self) -> None:
        """Announce an utterance that may have ended and has no gap."""
        began = self._endpointer.began
        if self._expect is None or began is None or self._lost_at >= self._begin(began):
            return
        perhaps = self._endpointer.pending()
        if perhaps is not None:
            self._expect(perhaps)

    def _decide(self, segment: Segment | None) -> list[PlacedJudgement]:
        if segment is None:
            return []
        if self._lost_at >= self._begin(segment.first_sample):
            return [PlacedJudgement(_refused(segment, "overflow"), segment)]
        if segment.ended_by == "limit":
            return [PlacedJudgement(_refused(segment, "too-long"), segment)]
        if segment.too_short:
            return [PlacedJudgement(_refused(segment, "too-short"), segment)]
        return [PlacedJudgement(self._judge(segment.utterance), segment)]

    def _begin(self, first_sample: int) -> int:
        """Return where the audio of an utterance starts, before its first loud sample."""
        before = self._endpointer.settings.pre_roll_ms * SAMPLE_RATE // 1000
        return max(first_sample - before, 0)

    def finish(self) -> list[PlacedJudgement]:
        """Judge the utterance that the end of the stream cut off."""
        return self._decide(self._endpointer.finish())

    def sound_lost(self) -> None:
        """Samples are missing here; an utterance that spans the gap is refused."""
        self._lost_at = self.position

    def forget_room(self) -> None:
        """Re-learn the room's noise, for example after a change of microphone."""
        self._endpointer.forget_room()

    def allow_numbers(self, *, wanted: bool) -> None:
        """While a number is asked for, allow the longer duration and pauses of digits."""
        self._numbers = wanted
        self._endpointer.settings = for_numbers(self._settings) if wanted else self._settings

    def ignore_below(self, dbfs: float) -> None:
        """Treat fainter sound as noise, never as speech; in dB relative to full scale."""
        self._settings = replace(self._settings, least_dbfs=dbfs)
        self.allow_numbers(wanted=self._numbers)


def _refused(segment: Segment, reason: str) -> Judgement:
    """Refuse an utterance without running a recogniser."""
    return Judgement(
        decision="refuse",
        text="",
        reason=reason,
        utterance=segment.utterance,
        engine="endpointer",
        scores={"duration-ms": str(segment.duration_ms)},
    )
