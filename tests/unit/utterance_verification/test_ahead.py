"""Judging ahead gives the same verdict, sooner, and never a stale one."""

import time
from collections.abc import Iterator

import pytest

from assistant.ports import Utterance, Verdict
from assistant.speech.utterance_verification.ahead import SLOW_S, Ahead


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


def test_where_judging_is_slow_nothing_is_begun_ahead_until_it_is_fast_again() -> None:
    """What was begun in vain would be waited for; each judgement tells anew how long one takes."""
    pause = [SLOW_S + 0.05]
    asked: list[bytes] = []

    def sluggish(utterance: Utterance) -> Verdict:
        asked.append(utterance.pcm)
        time.sleep(pause[0])
        return Verdict("accept", "", "", utterance, "sluggish")

    ahead = Ahead(sluggish)
    try:
        ahead(Utterance(pcm=b"one"))
        ahead.expect(Utterance(pcm=b"two"))
        time.sleep(0.05)
        assert asked == [b"one"]
        pause[0] = 0.0
        ahead(Utterance(pcm=b"three"))
        ahead.expect(Utterance(pcm=b"four"))
        ahead(Utterance(pcm=b"four"))
        assert asked == [b"one", b"three", b"four"]
    finally:
        ahead.close()
