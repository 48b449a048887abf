"""The interface between a stream of sound and judgements of what was said in it.

Two kinds of detector implement it: `cut_and_judge` cuts an utterance out by its level and
hands it to a phrase engine; `phone_listening` finds start, end and phrase with one network.
"""

from dataclasses import dataclass
from typing import Protocol

from assistant.ports import Judgement
from assistant.speech.endpoint import Segment


@dataclass(frozen=True, slots=True)
class PlacedJudgement:
    """A judgement and its place in the stream."""

    judgement: Judgement
    segment: Segment


class Detector(Protocol):
    """Takes 50 ms of sound at a time; its output depends only on its inputs."""

    @property
    def position(self) -> int:
        """Samples fed so far, including skipped ones."""
        ...

    @property
    def level_dbfs(self) -> float:
        """Level of the last block, in dB relative to full scale."""
        ...

    @property
    def floor_dbfs(self) -> float:
        """Level of the room's noise, in dB relative to full scale."""
        ...

    def feed(self, block: bytes) -> list[PlacedJudgement]:
        """Process 50 ms of sound and return the judgements made in it, usually none."""
        ...

    def skip(self, samples: int) -> list[PlacedJudgement]:
        """Skip sound, for example during a prompt."""
        ...

    def reset(self) -> None:
        """Discard an utterance in progress; keep the noise estimate."""
        ...

    def answering(self) -> None:
        """The answer to an accepted phrase begins: ignore the sound that follows the phrase."""
        ...

    def answered(self) -> None:
        """The operator answered by key or by typing: no question is pending any more."""
        ...

    def finish(self) -> list[PlacedJudgement]:
        """Judge the utterance that the end of the stream cut off."""
        ...

    def sound_lost(self) -> None:
        """Samples are missing here; an utterance that spans the gap is refused."""
        ...

    def forget_room(self) -> None:
        """Re-learn the room's noise, for example after a change of microphone."""
        ...

    def allow_numbers(self, *, wanted: bool) -> None:
        """While a number is asked for, allow the longer duration and pauses of digits."""
        ...

    def ignore_below(self, dbfs: float) -> None:
        """Treat fainter sound as noise, never as speech; in dB relative to full scale."""
        ...
