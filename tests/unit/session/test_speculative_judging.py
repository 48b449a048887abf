"""Judging ahead never uses a verdict that was worked out for other phrases or thresholds."""

from collections.abc import Iterator, Sequence

import pytest

from assistant.ports import Utterance, Verdict
from assistant.session.speculative_judging import JudgeAhead

WORDS = Utterance(pcm=b"words")


class Legalist:
    """Accepts the first legal phrase, whatever was said; counts."""

    name = "legalist"

    def __init__(self) -> None:
        """Know nothing."""
        self.asked = self.prepared = 0
        self._legal: Sequence[str] = ()
        self._by = 0.0

    def prepare(self, union: Sequence[str], legal: Sequence[str]) -> None:
        """Take the phrases over."""
        assert set(legal) <= set(union)
        self._legal = legal
        self.prepared += 1

    def tighten(self, by: float) -> None:
        """Take the threshold over."""
        self._by = by

    def judge(self, utterance: Utterance) -> Verdict:
        """Accept."""
        self.asked += 1
        return Verdict("accept", self._legal[0], "", utterance, self.name, {"by": str(self._by)})


@pytest.fixture
def legalist() -> Legalist:
    """Return the judge within."""
    return Legalist()


@pytest.fixture
def ahead(legalist: Legalist) -> Iterator[JudgeAhead]:
    """Return it working ahead."""
    made = JudgeAhead(legalist)
    made.prepare(["go", "halt"], ["go"])
    yield made
    made.close()


def test_the_verdict_is_ready_when_it_is_asked_for(ahead: JudgeAhead, legalist: Legalist) -> None:
    """One judgement serves both."""
    ahead.expect(WORDS)
    assert ahead.judge(WORDS).text == "go"
    assert legalist.asked == 1
    assert ahead.name == legalist.name


def test_other_legal_phrases_void_what_was_worked_out(
    ahead: JudgeAhead, legalist: Legalist
) -> None:
    """A timer or a key changes what is legal between the words and their verdict."""
    ahead.expect(WORDS)
    ahead.prepare(["go", "halt"], ["halt"])
    assert ahead.judge(WORDS).text == "halt"
    assert legalist.asked >= 1


def test_the_same_phrases_again_void_nothing(ahead: JudgeAhead, legalist: Legalist) -> None:
    """The session sets its phrases after every event, mostly the same ones."""
    ahead.expect(WORDS)
    ahead.prepare(["go", "halt"], ["go"])
    assert ahead.judge(WORDS).text == "go"
    assert (legalist.asked, legalist.prepared) == (1, 1)


def test_stricter_thresholds_void_what_was_worked_out(ahead: JudgeAhead) -> None:
    """The verdict is by the thresholds in force."""
    ahead.expect(WORDS)
    ahead.tighten(1.5)
    assert ahead.judge(WORDS).scores["by"] == "1.5"
