"""Early judgement: an utterance is judged while the pause that ends it still runs.

After a little quiet, the utterance as it stands is handed in. If nothing more is said, the finished
utterance holds the same samples and its judgement is ready; if more is said, the early one is
dropped. The judgement is the same either way, only sooner.

A judgement once begun cannot be broken off, and the next one waits for it. On slow machines an
early start would therefore add delay, so it is switched off there.
"""

import time
from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Final

from assistant.ports import EngineFacts, Judgement, PhraseEngine, Stakes, Utterance

SLOW_S: Final = 0.5
"""Where the latest judgement took longer, nothing is begun early. Alone on a core one takes 0.3 s;
in a pause of 250 ms there is time for little more."""


class EarlyJudgement:
    """A phrase engine around another one, for one caller; works in one thread of its own."""

    def __init__(self, engine: PhraseEngine) -> None:
        """Judge by this engine; nobody else may set its phrases meanwhile."""
        self._engine = engine
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="early-judgement")
        self._early: tuple[Utterance, Future[Judgement]] | None = None
        self._latest_s = 0.0
        self._phrases: object = None

    @property
    def name(self) -> str:
        """Engine, version and model, as they go on record."""
        return self._engine.name

    @property
    def facts(self) -> EngineFacts:
        """The same in parts."""
        return self._engine.facts

    def prepare(
        self,
        union: Sequence[str],
        legal: Mapping[str, Stakes],
        expected: Collection[str] = (),
    ) -> None:
        """Set the phrases; a judgement made with other phrases is dropped."""
        phrases = tuple(union), dict(legal), frozenset(expected)
        if phrases == self._phrases:
            return
        self._forget()
        self._engine.prepare(union, legal, expected)
        self._phrases = phrases

    def tighten(self, by: float) -> None:
        """Raise the thresholds; a judgement made with others is dropped."""
        self._forget()
        self._engine.tighten(by)

    def expect(self, utterance: Utterance) -> None:
        """Start on an utterance that has perhaps ended; only the latest one is kept."""
        if self._early is not None and self._early[0] == utterance:
            return
        self._forget()
        if self._latest_s <= SLOW_S:
            self._early = utterance, self._worker.submit(self._timed, utterance)

    def judge(self, utterance: Utterance) -> Judgement:
        """Return the judgement: the early one where it was made of these very samples."""
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
        """Drop what was started, because more was said or because other phrases are legal."""
        if self._early is not None:
            self._early[1].cancel()
            self._early = None

    def close(self) -> None:
        """End the thread."""
        self._forget()
        self._worker.shutdown()
