"""Judging ahead: the verdict is worked out while the pause that ends an utterance still runs.

As soon as there has been a little quiet, the utterance as it stands is handed in. If nothing more
is said, the finished utterance holds the same samples and its verdict is ready; if more is said,
the early one is forgotten. The verdict is the same either way, only sooner.

A judgement once begun cannot be broken off, and the next one waits for it. Where judgements take
long, as on a machine with other work, working ahead would therefore delay: it is left alone there.
"""

import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Final

from assistant.ports import Utterance, Verdict

SLOW_S: Final = 0.5
"""Where the latest judgement took longer, nothing is begun ahead. Alone on a core one takes 0.3 s;
in a pause of 250 ms there is time for little more."""


class Ahead:
    """Wraps a judge; made for one caller, works in one thread of its own."""

    def __init__(self, judge: Callable[[Utterance], Verdict]) -> None:
        """Judge with this; it must give the same verdict for the same utterance."""
        self._judge = judge
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="judge-ahead")
        self._early: tuple[Utterance, Future[Verdict]] | None = None
        self._latest_s = 0.0

    def expect(self, utterance: Utterance) -> None:
        """Start on an utterance that has perhaps ended; only the latest one is kept."""
        if self._early is not None and self._early[0] == utterance:
            return
        self.forget()
        if self._latest_s <= SLOW_S:
            self._early = utterance, self._worker.submit(self._timed, utterance)

    def forget(self) -> None:
        """Drop what was started, because more was said or because other phrases are legal."""
        if self._early is not None:
            self._early[1].cancel()
            self._early = None

    def __call__(self, utterance: Utterance) -> Verdict:
        """Return the verdict; the early one when it was on these very samples."""
        early, self._early = self._early, None
        if early is not None and early[0] == utterance:
            return early[1].result()
        return self._timed(utterance)

    def _timed(self, utterance: Utterance) -> Verdict:
        began = time.monotonic()
        verdict = self._judge(utterance)
        self._latest_s = time.monotonic() - began
        return verdict

    def close(self) -> None:
        """End the thread."""
        self.forget()
        self._worker.shutdown()
