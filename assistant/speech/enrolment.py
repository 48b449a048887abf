"""Enrolment: prompt a person for each phrase in turn and keep the recordings.

Driven by blocks of sound like the session itself, so that it works in a live and a simulated room.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from assistant.ports import Judgement, Speaker, Utterance
from assistant.speech.cut_and_judge import CutAndJudge
from assistant.speech.endpoint import Endpointer
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.speech.pcm import BLOCK_BYTES

BLOCK_S: Final = 0.05
PATIENCE_S: Final = 6.0
"""Timeout for one phrase; after it the phrase is asked for once more, then skipped."""
ASKED_AT_MOST: Final = 2


@dataclass(frozen=True, slots=True)
class Saying:
    """The recording of one phrase."""

    phrase: str
    pcm: bytes
    """16-bit mono at `SAMPLE_RATE`."""


def said_in(pcm: bytes) -> bytes:
    """Return the longest utterance in a recording, b"" if there is no speech in it."""
    endpointer = Endpointer()
    padded = pcm + bytes(-len(pcm) % BLOCK_BYTES)
    pieces = [padded[at : at + BLOCK_BYTES] for at in range(0, len(padded), BLOCK_BYTES)]
    found = [*map(endpointer.feed, pieces), endpointer.finish()]
    said = [each.utterance.pcm for each in found if each is not None and not each.too_short]
    return max(said, key=len, default=b"")


class Enrolment:
    """Asks for phrases; `sayings` collects the recordings, `over` is set after the last one."""

    def __init__(
        self,
        phrases: Sequence[str],
        speaker: Speaker,
        ask: str = "{phrase}.",
        shown: Callable[[str], None] = lambda _words: None,
    ) -> None:
        """Start asking.

        Args:
            phrases: to be spoken in turn, at least one.
            speaker: speaks the prompts.
            ask: sentence with `{phrase}`.
            shown: called with every sentence that is spoken.
        """
        self._phrases = tuple(phrases)
        self._speaker = speaker
        self._ask = ask
        self._shown = shown
        self._pipeline = ListeningPipeline(CutAndJudge(_taken))
        self._number = 0
        self._times = 0
        self._speaking = False
        self._since = 0.0
        self.sayings: list[Saying] = []
        self._say()

    @property
    def over(self) -> bool:
        """Whether every phrase was recorded or skipped."""
        return self._number >= len(self._phrases)

    @property
    def asking(self) -> str:
        """The phrase to say now, "" while the program speaks or none is left."""
        return "" if self.over or self._speaking else self._phrases[self._number]

    def tick(self, block: bytes) -> None:
        """Process 50 ms of sound."""
        heard = [each.judgement for each in self._pipeline.listen(block)]
        if not self.asking:
            return
        self._since += BLOCK_S
        found = next((each.utterance.pcm for each in heard if each.decision == "accept"), b"")
        if found:
            self.sayings.append(Saying(self.asking, found))
        if found or self._since >= PATIENCE_S:
            self._next(said=bool(found))

    def _next(self, *, said: bool) -> None:
        if said or self._times >= ASKED_AT_MOST:
            self._number += 1
            self._times = 0
        if not self.over:
            self._say()

    def _say(self) -> None:
        self._times += 1
        self._speaking = True
        self._pipeline.prompt_started()
        words = self._ask.format(phrase=self._phrases[self._number])
        self._shown(words)
        self._speaker.say(words, self._said)

    def _said(self) -> None:
        self._speaking = False
        self._since = 0.0
        self._pipeline.prompt_ended()


def _taken(utterance: Utterance) -> Judgement:
    """Accept any utterance as the phrase that was asked for."""
    return Judgement("accept", "", "", utterance, "enrolment")
