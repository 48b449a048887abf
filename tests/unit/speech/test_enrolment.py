"""Asking for phrases one after the other, in simulated sound."""

from collections.abc import Callable

import numpy as np

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Tone
from assistant.speech.enrolment import ASKED_AT_MOST, PATIENCE_S, Enrolment, said_in
from assistant.speech.pcm import bytes_of

RANDOM = np.random.default_rng(6)


def hiss(seconds: float) -> bytes:
    """Return a quiet room."""
    return bytes_of(RANDOM.normal(0.0, 8.0, int(seconds * SAMPLE_RATE)))


def tone(seconds: float) -> bytes:
    """Return something loud that comes and goes like syllables."""
    time = np.arange(int(seconds * SAMPLE_RATE)) / SAMPLE_RATE
    return bytes_of(6000.0 * np.sin(2 * np.pi * 300.0 * time) * (1.2 + np.sin(20.0 * time)))


class Instant:
    """A speaker whose sentences are over at once; they are kept."""

    name = "instant"

    def __init__(self) -> None:
        """Nothing was said yet."""
        self.said: list[str] = []

    def say(self, text: str, done: Callable[[], None], tone: Tone | None = None) -> None:
        """Keep the sentence."""
        del tone
        self.said.append(text)
        done()

    def silence(self) -> None:
        """There is nothing to stop."""


def feed(enrolment: Enrolment, pcm: bytes) -> None:
    """Hand the sound over in blocks."""
    size = BLOCK_SAMPLES * 2
    for at in range(0, len(pcm) - size + 1, size):
        enrolment.tick(pcm[at : at + size])


def test_every_phrase_is_asked_for_and_kept() -> None:
    """Two phrases, both said: each saying stands under what was asked."""
    speaker = Instant()
    shown: list[str] = []
    enrolment = Enrolment(["go on", "hold"], speaker, "Say {phrase}!", shown.append)
    feed(enrolment, hiss(1.0))
    assert enrolment.asking == "go on"
    feed(enrolment, tone(0.8) + hiss(1.0))
    assert enrolment.asking == "hold"
    feed(enrolment, tone(0.5) + hiss(1.0))
    assert enrolment.over
    assert enrolment.asking == ""
    assert speaker.said == shown == ["Say go on!", "Say hold!"]
    assert [each.phrase for each in enrolment.sayings] == ["go on", "hold"]
    assert len(enrolment.sayings[0].pcm) > len(enrolment.sayings[1].pcm) > SAMPLE_RATE


def test_what_is_not_said_is_asked_once_more_then_left_out() -> None:
    """Nothing but the room; what is heard after the end changes nothing."""
    speaker = Instant()
    enrolment = Enrolment(["go on"], speaker)
    feed(enrolment, hiss(ASKED_AT_MOST * (PATIENCE_S + 1.0)))
    assert enrolment.over
    assert speaker.said == ["go on."] * ASKED_AT_MOST
    feed(enrolment, tone(0.8) + hiss(1.0))
    assert enrolment.sayings == []


def test_the_longest_utterance_of_a_recording_counts() -> None:
    """A cough before the phrase is not the phrase; silence holds none."""
    recording = hiss(1.0) + tone(0.3) + hiss(1.0) + tone(0.9) + hiss(1.0)
    said = said_in(recording + b"\x00\x00")
    assert 0.9 <= len(said) / 2 / SAMPLE_RATE <= 1.6
    assert said_in(hiss(2.0)) == b""
