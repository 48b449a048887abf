"""The judge on real passes of the embedded engine."""

import numpy as np
import pytest

from assistant.errors import GrammarError
from assistant.ports import Utterance
from assistant.speech.pcm import bytes_of
from assistant.speech.tts import Voice
from assistant.speech.utterance_verification import Verifier
from assistant.speech.utterance_verification.trimming import samples_of, spread, trimmed

PHRASES = ["stop sampling now", "say again", "vial one underfilled"]


@pytest.fixture(scope="module")
def judge() -> Verifier:
    """Return a judge over three phrases, one of them legal."""
    made = Verifier({"underfilled": ["AH N D ER F IH L D"]})
    made.prepare(PHRASES, ["say again"])
    return made


def noise(seconds: float, level: float = 900.0) -> bytes:
    """Return white noise."""
    generator = np.random.default_rng(3)
    return generator.normal(0.0, level, int(16_000 * seconds)).astype("<i2").tobytes()


def test_typed_phrases_are_taken_literally(judge: Verifier) -> None:
    """The keyboard is a way of speaking without doubt; anything else is refused."""
    assert judge.judge(Utterance(typed=" Say  AGAIN ", source="text")).decision == "accept"
    assert judge.judge(Utterance(typed="say", source="text")).reason == "no-phrase"


def test_noise_is_refused_alike_each_time(judge: Verifier) -> None:
    """The judgement depends on the samples only, not on what was heard before."""
    first = judge.judge(Utterance(pcm=noise(1.5)))
    judge.judge(Utterance(pcm=noise(0.9, 300.0)))
    assert first.decision == "refuse"
    assert judge.judge(Utterance(pcm=noise(1.5))) == first


def test_too_short_and_too_long(judge: Verifier) -> None:
    """A click and a speech are refused without being scored."""
    assert judge.judge(Utterance(pcm=noise(0.1))).reason == "too-short"
    assert judge.judge(Utterance(pcm=noise(5.0))).reason == "too-long"


def test_scores_are_decimal_strings(judge: Verifier) -> None:
    """What goes on record is text that reads back as numbers."""
    scores = judge.judge(Utterance(pcm=noise(1.5))).scores
    assert "seconds" in scores
    assert all(f"{float(value):.4f}" == value for value in scores.values())


def in_a_room(pcm: bytes, hiss: float) -> Utterance:
    """Lay speech into white noise with 0.3 s around it."""
    quiet = bytes(2 * 4800)
    spoken = samples_of(quiet + pcm + quiet).astype(np.float64)
    noisy = spoken + np.random.default_rng(8).normal(0.0, hiss, spoken.size)
    return Utterance(pcm=bytes_of(noisy))


def test_a_phrase_scores_alike_whatever_was_heard_before() -> None:
    """The first utterance of a session, and one after a louder voice in more noise."""
    judge, voice, other = Verifier(), Voice("en-us+m3", 150), Voice("en-us+f3", 170)
    judge.prepare(["stop sampling now", "say again"], ["say again"])
    utterance = in_a_room(voice.render("say again"), 50.0)
    first = judge.judge(utterance)
    judge.judge(in_a_room(other.render("stop sampling now"), 600.0))
    assert first.text == "say again"
    assert judge.judge(utterance) == first


def test_unknown_words_are_named(judge: Verifier) -> None:
    """A phrase that cannot be pronounced is refused at once, with the word."""
    with pytest.raises(GrammarError, match="zorblax"):
        judge.prepare(["zorblax now"], [])
    judge.prepare(PHRASES, ["say again"])


def test_an_empty_grammar_is_refused() -> None:
    """There must be something to listen for."""
    with pytest.raises(GrammarError, match="no phrase"):
        Verifier().prepare([], [])


def test_trimming_keeps_the_loud_part_with_its_margins() -> None:
    """One second of noise 40 dB over a quiet second on each side: 200 ms and 250 ms stay."""
    quiet, loud = samples_of(noise(1.0, 10.0)), samples_of(noise(1.0, 1000.0))
    clip = np.concatenate([quiet, loud, quiet])
    assert len(trimmed(clip)) / 16_000 == pytest.approx(1.45, abs=0.05)
    assert spread(clip) == pytest.approx(40.0, abs=2.0)


def test_a_clip_without_contrast_is_left_whole() -> None:
    """Steady sound has no edges to cut at."""
    steady = samples_of(noise(1.0))
    assert len(trimmed(steady)) >= 0.9 * len(steady)
    assert len(trimmed(steady[:300])) == 300
    assert spread(steady[:100]) == 0.0
