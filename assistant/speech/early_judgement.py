"""Early judgement: an utterance is judged during the pause that ends it.

After a short silence the utterance so far is submitted. If nothing more is said, the finished
utterance has the same samples and its judgement is ready; if more is said, the early judgement is
discarded. The result is the same either way, only sooner.

A judgement in progress cannot be cancelled, and the next one waits for it. On slow machines an
early start would therefore add delay, so it is switched off there.
"""

import time
from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Final

from assistant.ports import EngineFacts, Judgement, PhraseEngine, Stakes, Utterance

SLOW_S: Final = 0.5
"""If the latest judgement took longer, none is started early. On a free core one takes 0.3 s; a
pause of 250 ms leaves time for little more."""


class EarlyJudgement:
    """A phrase engine that wraps another one, for one caller; it uses one thread of its own."""

    def __init__(self, engine: PhraseEngine) -> None:
        """Judge with this engine; no other caller may set its phrases meanwhile."""
        self._engine = engine
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="early-judgement")
        self._early: tuple[Utterance, Future[Judgement]] | None = None
        self._latest_s = 0.0
        self._phrases: object = None

    @property
    def name(self) -> str:
        """Engine, version and model, as written to the record."""
        return self._engine.name

    @property
    def facts(self) -> EngineFacts:
        """The same, field by field."""
        return self._engine.facts

    def prepare(
        self,
        union: Sequence[str],
        legal: Mapping[str, Stakes],
        expected: Collection[str] = (),
    ) -> None:
        """Set the phrases; a judgement made with other phrases is discarded."""
        phrases = tuple(union), dict(legal), frozenset(expected)
        if phrases == self._phrases:
            return
        self._forget()
        self._engine.prepare(union, legal, expected)
        self._phrases = phrases

    def tighten(self, by: float) -> None:
        """Raise the thresholds; a judgement made with others is discarded."""
        self._forget()
        self._engine.tighten(by)

    def expect(self, utterance: Utterance) -> None:
        """Start judging an utterance that may have ended; only the latest one is kept."""
        if self._early is not None and self._early[0] == utterance:
            return
        self._forget()
        if self._latest_s <= SLOW_S:
            self._early = utterance, self._worker.submit(self._timed, utterance)

    def judge(self, utterance: Utterance) -> Judgement:
        """Return the judgement; the early one if it was made from exactly these samples."""
        early, self._early = self._early, None
        if early is not None and early[0] == utterance:
            return early[1].result()
        return self._timed(utterance)

    def _timed(self, utterance: Utterance) -> Judgement:
        began = time.monotonic()
        judgement = self._engine.judge(utterance)
        self._latest_s = time.monotonic() - began
        return judgement

    def _forget(self) -> None:
        """Discard the early judgement, because more was said or the legal phrases changed."""
        if self._early is not None:
            self._early[1].cancel()
            self._early = None

    def close(self) -> None:
        """Stop the thread."""
        self._forget()
        self._worker.shutdown()
