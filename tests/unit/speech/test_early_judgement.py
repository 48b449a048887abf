"""Early judgement: the same judgement, sooner, never for other phrases or thresholds."""

import time
from collections.abc import Collection, Iterator, Mapping, Sequence

import pytest

from assistant.ports import EngineFacts, Judgement, Stakes, Utterance
from assistant.speech.early_judgement import SLOW_S, EarlyJudgement

WORDS = Utterance(pcm=b"words")


class Legalist:
    """Accepts the first legal phrase, whatever was said; counts."""

    name = "legalist"
    facts = EngineFacts("legalist", "1", "none", "0" * 64)

    def __init__(self) -> None:
        """Know nothing."""
        self.asked = self.prepared = 0
        self.pause_s = 0.0
        self._legal: Sequence[str] = ()
        self._by = 0.0

    def prepare(
        self, union: Sequence[str], legal: Mapping[str, Stakes], expected: Collection[str] = ()
    ) -> None:
        """Take the phrases over."""
        assert set(expected) <= set(legal) <= set(union)
        self._legal = tuple(legal)
        self.prepared += 1

    def tighten(self, by: float) -> None:
        """Take the threshold over."""
        self._by = by

    def judge(self, utterance: Utterance) -> Judgement:
        """Accept."""
        self.asked += 1
        time.sleep(self.pause_s)
        return Judgement("accept", self._legal[0], "", utterance, self.name, {"by": str(self._by)})


@pytest.fixture
def legalist() -> Legalist:
    """Return the judge within."""
    return Legalist()


@pytest.fixture
def early(legalist: Legalist) -> Iterator[EarlyJudgement]:
    """Return one around it; its thread ends afterwards."""
    made = EarlyJudgement(legalist)
    made.prepare(["go", "halt"], {"go": "strict"})
    yield made
    made.close()


def test_the_judgement_is_ready_when_asked_for(early: EarlyJudgement, legalist: Legalist) -> None:
    """One judgement serves both."""
    early.expect(WORDS)
    assert early.judge(WORDS).text == "go"
    assert legalist.asked == 1
    assert early.name == legalist.name


def test_other_legal_phrases_void_what_was_worked_out(
    early: EarlyJudgement, legalist: Legalist
) -> None:
    """A timer or a key changes what is legal between the words and their judgement."""
    early.expect(WORDS)
    early.prepare(["go", "halt"], {"halt": "strict"})
    assert early.judge(WORDS).text == "halt"
    assert legalist.asked >= 1


def test_the_same_phrases_again_void_nothing(early: EarlyJudgement, legalist: Legalist) -> None:
    """The session sets its phrases after every event, mostly the same ones."""
    early.expect(WORDS)
    early.prepare(["go", "halt"], {"go": "strict"})
    assert early.judge(WORDS).text == "go"
    assert (legalist.asked, legalist.prepared) == (1, 1)


def test_stricter_thresholds_void_what_was_worked_out(early: EarlyJudgement) -> None:
    """The judgement is by the thresholds in force."""
    early.expect(WORDS)
    early.tighten(1.5)
    assert early.judge(WORDS).scores["by"] == "1.5"


def test_the_same_samples_are_judged_once_however_often_announced(
    early: EarlyJudgement, legalist: Legalist
) -> None:
    """An early judgement is used once."""
    early.expect(WORDS)
    early.expect(WORDS)
    early.judge(WORDS)
    assert legalist.asked == 1
    early.judge(WORDS)
    assert legalist.asked == 2


def test_more_speech_voids_the_early_judgement(early: EarlyJudgement) -> None:
    """Other samples get their own judgement."""
    early.expect(WORDS)
    assert early.judge(Utterance(pcm=b"words and more")).utterance.pcm == b"words and more"


def test_where_judging_is_slow_nothing_is_begun_early_until_it_is_fast_again(
    early: EarlyJudgement, legalist: Legalist
) -> None:
    """An early start would be waited for; each judgement tells anew how long one takes."""
    legalist.pause_s = SLOW_S + 0.05
    early.judge(Utterance(pcm=b"one"))
    early.expect(Utterance(pcm=b"two"))
    time.sleep(0.05)
    assert legalist.asked == 1
    legalist.pause_s = 0.0
    early.judge(Utterance(pcm=b"three"))
    early.expect(Utterance(pcm=b"four"))
    early.judge(Utterance(pcm=b"four"))
    assert legalist.asked == 3
