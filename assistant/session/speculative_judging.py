"""The acceptance layer of a live session, judging while the pause after the words still runs."""

from collections.abc import Sequence

from assistant.ports import Utterance, Verdict
from assistant.session.engine_factory import SessionJudge
from assistant.speech.utterance_verification.ahead import Ahead


class JudgeAhead:
    """Wraps the acceptance layer; one caller, and one thread of its own that works ahead."""

    def __init__(self, judge: SessionJudge) -> None:
        """Work ahead with this one; nobody else may set its phrases meanwhile."""
        self._judge = judge
        self._ahead = Ahead(judge.judge)
        self._phrases: tuple[tuple[str, ...], tuple[str, ...]] | None = None

    @property
    def name(self) -> str:
        """Engine and weights, as they go on record."""
        return self._judge.name

    def prepare(self, union: Sequence[str], legal: Sequence[str]) -> None:
        """Set the phrases; what was worked out for others is dropped."""
        phrases = tuple(union), tuple(legal)
        if phrases == self._phrases:
            return
        self._ahead.forget()
        self._judge.prepare(union, legal)
        self._phrases = phrases

    def tighten(self, by: float) -> None:
        """Raise the thresholds; what was worked out with others is dropped."""
        self._ahead.forget()
        self._judge.tighten(by)

    def expect(self, utterance: Utterance) -> None:
        """Begin on an utterance that has perhaps ended."""
        self._ahead.expect(utterance)

    def judge(self, utterance: Utterance) -> Verdict:
        """Decide about one utterance; the same verdict, sooner when it was expected."""
        return self._ahead(utterance)

    def close(self) -> None:
        """End the thread."""
        self._ahead.close()
