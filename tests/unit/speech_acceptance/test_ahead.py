"""Judging ahead gives the same verdict, sooner, and never a stale one."""

from collections.abc import Iterator

import pytest

from assistant.ports import Utterance, Verdict
from assistant.speech.acceptance.ahead import Ahead


class Counting:
    """Judges by the bytes themselves and counts how often it was asked."""

    def __init__(self) -> None:
        """Start at nought."""
        self.asked = 0

    def __call__(self, utterance: Utterance) -> Verdict:
        """Accept the bytes as the phrase."""
        self.asked += 1
        return Verdict("accept", utterance.pcm.decode(), "", utterance, "counting")


@pytest.fixture
def counting() -> Counting:
    """Return a judge that counts."""
    return Counting()


@pytest.fixture
def ahead(counting: Counting) -> Iterator[Ahead]:
    """Return a wrapped judge and end its thread afterwards."""
    wrapped = Ahead(counting)
    yield wrapped
    wrapped.close()


def test_the_early_verdict_is_used_once(ahead: Ahead, counting: Counting) -> None:
    """The same samples are judged once, however often they are announced."""
    ahead.expect(Utterance(pcm=b"go"))
    ahead.expect(Utterance(pcm=b"go"))
    assert ahead(Utterance(pcm=b"go")).text == "go"
    assert counting.asked == 1
    assert ahead(Utterance(pcm=b"go")).text == "go"
    assert counting.asked == 2


def test_more_speech_voids_the_early_verdict(ahead: Ahead) -> None:
    """Other samples get their own verdict."""
    ahead.expect(Utterance(pcm=b"go"))
    assert ahead(Utterance(pcm=b"go on")).text == "go on"


def test_forgetting_judges_anew(ahead: Ahead, counting: Counting) -> None:
    """When other phrases become legal, what was worked out before no longer counts."""
    ahead.expect(Utterance(pcm=b"go"))
    first = ahead(Utterance(pcm=b"go"))
    ahead.expect(Utterance(pcm=b"go"))
    ahead.forget()
    assert ahead(Utterance(pcm=b"go")) == first
    assert counting.asked >= 2
