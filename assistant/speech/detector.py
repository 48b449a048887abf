"""The seam between a stream of sound and judgements about what was said in it.

Two kinds of detector keep its promises: `cut_and_judge` cuts an utterance out by its level and
hands it to a phrase engine; `phone_listening` finds begin, end and phrase by one network.
"""

from dataclasses import dataclass
from typing import Protocol

from assistant.ports import Judgement
from assistant.speech.endpoint import Segment


@dataclass(frozen=True, slots=True)
class PlacedJudgement:
    """A judgement with where in the stream it came from."""

    judgement: Judgement
    segment: Segment


class Detector(Protocol):
    """Takes 50 ms of sound at a time; a pure function of what it was fed and told."""

    @property
    def position(self) -> int:
        """Samples fed so far, skipped ones included."""
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
        """Take 50 ms of sound and return what was decided in it, usually nothing."""
        ...

    def skip(self, samples: int) -> list[PlacedJudgement]:
        """Skip sound, as during a prompt."""
        ...

    def reset(self) -> None:
        """Drop an utterance that has begun; the room's noise stays known."""
        ...

    def answering(self) -> None:
        """The answer to what was taken begins: listen no more to the sound behind it."""
        ...

    def answered(self) -> None:
        """Somebody answered by key or in writing: no question is open any more."""
        ...

    def finish(self) -> list[PlacedJudgement]:
        """Decide on what the end of the stream cut off."""
        ...

    def sound_lost(self) -> None:
        """Samples are missing here; an utterance around them is refused."""
        ...

    def forget_room(self) -> None:
        """Learn the room's noise again, as after another microphone was opened."""
        ...

    def allow_numbers(self, *, wanted: bool) -> None:
        """Give digits the time and the pauses that they need, while a number is asked for."""
        ...

    def ignore_below(self, dbfs: float) -> None:
        """Take nothing fainter for speech, in dB relative to full scale."""
        ...
