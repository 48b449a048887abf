"""Judging ahead: the verdict is worked out while the pause that ends an utterance still runs.

As soon as there has been a little quiet, the utterance as it stands is handed in. If nothing more
is said, the finished utterance holds the same samples and its verdict is ready; if more is said,
the early one is forgotten. The verdict is the same either way, only sooner.
"""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor

from assistant.ports import Utterance, Verdict


class Ahead:
    """Wraps a judge; made for one caller, works in one thread of its own."""

    def __init__(self, judge: Callable[[Utterance], Verdict]) -> None:
        """Judge with this; it must give the same verdict for the same utterance."""
        self._judge = judge
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="judge-ahead")
        self._early: tuple[Utterance, Future[Verdict]] | None = None

    def expect(self, utterance: Utterance) -> None:
        """Start on an utterance that has perhaps ended; only the latest one is kept."""
        if self._early is not None and self._early[0] == utterance:
            return
        self.forget()
        self._early = utterance, self._worker.submit(self._judge, utterance)

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
        return self._judge(utterance)

    def close(self) -> None:
        """End the thread."""
        self.forget()
        self._worker.shutdown()
