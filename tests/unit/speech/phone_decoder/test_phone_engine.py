"""Real sound through the real network: eSpeak NG says it, 50 ms at a time."""

import tomllib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import DeviceError
from assistant.grammar.rendering import NUMBER
from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Stakes
from assistant.speech.pcm import Samples, samples_of
from assistant.speech.phone_decoder import (
    Decided,
    Event,
    PhoneEngine,
    PhoneModel,
    PhraseVerifier,
    Pronunciations,
    SpeechBegan,
    TakenBack,
    fit_profile,
)
from assistant.speech.phone_decoder.evidence import spikes
from assistant.speech.pocketsphinx_engine import model_folder
from assistant.speech.tts_espeak import open_espeak
from tests.listening_bench.voices import at_our_rate

pytestmark = pytest.mark.model

GRAMMAR = tomllib.loads(
    (Path(__file__).parents[4] / "grammars" / "en.toml").read_text(encoding="utf-8")
)
LEGAL: dict[str, Stakes] = {
    "sampler at depth": "strict",
    "vial one full": "strict",
    "vial one is short of powder": "strict",
    "shaft looks clean": "strict",
    "say again": "lenient",
}
OTHERS = ("dies are seated", "tube is emptied out", "stop sampling now", "bottom set filled")


def said(*parts: str | float) -> Samples:
    """Return words, and pauses in seconds between them, with a second of faint noise around."""
    try:
        espeak = open_espeak()
    except DeviceError as fault:
        pytest.skip(str(fault))
    pieces = [np.zeros(SAMPLE_RATE)]
    for part in (*parts, 1.5):
        if isinstance(part, float):
            pieces.append(np.zeros(int(SAMPLE_RATE * part)))
            continue
        spoken = samples_of(espeak.render(part, voice="en-us", rate=150))
        words = at_our_rate(spoken, espeak.sample_rate).astype(np.float64)
        loud = np.flatnonzero(np.abs(words) > 200)
        pieces.append(words[loud[0] : loud[-1] + 1] * 0.3)
    whole = np.concatenate(pieces)
    noisy = whole + np.random.default_rng(1).normal(0, 8, whole.size)
    return np.clip(np.rint(noisy), -32768, 32767).astype(np.int16)


@pytest.fixture
def verifier(model: PhoneModel) -> PhraseVerifier:
    """Return a verifier for a few phrases."""
    words = Pronunciations(model_folder(), GRAMMAR["pronunciations"])
    found = PhraseVerifier(model, words, GRAMMAR["digits"])
    found.set_legal(LEGAL, OTHERS)
    return found


def play(engine: PhoneEngine, samples: Samples, start: float = 0.0) -> list[Event]:
    """Feed sound in blocks."""
    found: list[Event] = []
    for number in range(samples.size // BLOCK_SAMPLES):
        block = samples[number * BLOCK_SAMPLES : (number + 1) * BLOCK_SAMPLES]
        found += engine.feed(block, start + number * BLOCK_SAMPLES / SAMPLE_RATE)
    return found


def decided(events: Sequence[Event]) -> list[tuple[str, str]]:
    """Return decision and phrase of every utterance."""
    found = [each.judgement for each in events if isinstance(each, Decided)]
    return [(each.decision, each.phrase) for each in found]


@pytest.mark.parametrize("phrase", LEGAL)
def test_a_phrase_is_taken_soon_after_its_end(verifier: PhraseVerifier, phrase: str) -> None:
    """It begins and ends where it was said, and its clip gives the same judgement again."""
    engine, samples = PhoneEngine(verifier), said(phrase)
    events = play(engine, samples, start=100.0)
    assert [type(each) for each in events] == [SpeechBegan, Decided]
    found = events[1]
    assert isinstance(found, Decided)
    assert (found.judgement.decision, found.judgement.phrase) == ("accept", phrase)
    assert found.judgement.legal
    assert found.speak
    last = 100.0 + samples.size / SAMPLE_RATE - 1.5
    assert 100.9 < found.begin < 101.4
    assert last - 0.35 < found.end < last + 0.05
    assert found.closed - last < 0.4
    assert engine.judge(found.clip) == found.judgement
    assert engine.feed(samples[:BLOCK_SAMPLES], 200.0) == []


def test_a_phrase_of_another_step_is_recognised_and_not_legal(verifier: PhraseVerifier) -> None:
    """So that the answer can be "not now"."""
    events = play(PhoneEngine(verifier), said("dies are seated"))
    found = [each.judgement for each in events if isinstance(each, Decided)]
    assert [(each.decision, each.phrase, each.legal) for each in found] == [
        ("accept", "dies are seated", False)
    ]


@pytest.mark.parametrize("pause", [0.3, 0.5])
def test_a_pause_inside_a_phrase_joins_its_halves(verifier: PhraseVerifier, pause: float) -> None:
    """A speaker may hesitate."""
    events = play(PhoneEngine(verifier), said("vial one is", pause, "short of powder"))
    assert decided(events) == [("accept", "vial one is short of powder")]


@pytest.mark.parametrize("gap", [0.06, 0.35])
@pytest.mark.parametrize("word", ["no", "no it is not", "wait", "stop"])
def test_a_contradiction_undoes_the_phrase(verifier: PhraseVerifier, word: str, gap: float) -> None:
    """Refused at once, or taken back as long as the answer has not begun."""
    events = play(PhoneEngine(verifier), said("sampler at depth", gap, word))
    taken = [each for each in decided(events) if each[0] == "accept"]
    assert len(taken) == sum(isinstance(each, TakenBack) for each in events)
    assert ("ask", "sampler at depth") not in decided(events)


def test_not_before_the_phrase_refuses_it(verifier: PhraseVerifier) -> None:
    """The negation stands in front."""
    events = play(PhoneEngine(verifier), said("not", 0.06, "sampler at depth"))
    assert decided(events) == [("refuse", "sampler at depth")]


@pytest.mark.parametrize(
    "parts",
    [("okay", 0.06, "sampler at depth"), ("sampler at depth", 0.06, "my friend")],
)
def test_other_words_make_it_a_question(
    verifier: PhraseVerifier, parts: tuple[str | float, ...]
) -> None:
    """All sound is accounted for."""
    events = play(PhoneEngine(verifier), said(*parts))
    assert decided(events) == [("ask", "sampler at depth")]


def test_long_talk_is_found_too_long_and_passed_over_in_silence(verifier: PhraseVerifier) -> None:
    """It resembles no phrase, so the program has nothing to say about it."""
    talk = (
        "the quality people come on friday and somebody has to show them around the building "
        "before they look at the papers in the office"
    )
    events = play(PhoneEngine(verifier), said(talk))
    found = [each for each in events if isinstance(each, Decided)]
    assert [(each.judgement.decision, each.speak) for each in found] == [("refuse", False)]
    assert found[0].judgement.reason == "too-long"


TALK = "the quality people come on friday and somebody has to show them around the place and"


@pytest.mark.parametrize("start", range(0, BLOCK_SAMPLES, 200))
def test_a_phrase_at_the_end_of_long_talk_is_asked_back(
    verifier: PhraseVerifier, start: int
) -> None:
    """Found, never taken; wherever in a block the talk begins."""
    events = play(PhoneEngine(verifier), said(TALK, 0.06, "sampler at depth")[start:])
    assert decided(events) == [("ask", "sampler at depth")]


def test_phones_are_heard_wherever_in_a_word_a_window_begins(verifier: PhraseVerifier) -> None:
    """A window that is moved along talk cannot begin in silence, as the clips in training do."""
    talk = said(TALK)
    windows = [talk[begin : begin + 4 * SAMPLE_RATE] for begin in range(20_000, 40_000, 1700)]
    heard = [len(spikes(verifier.hear(window))) for window in windows]
    assert min(heard) > 25


def test_noise_is_nothing(verifier: PhraseVerifier) -> None:
    """Neither a steady room nor a clank."""
    noise = np.random.default_rng(4).normal(0, 300, 4 * SAMPLE_RATE)
    noise[40_000:40_400] *= 20
    assert play(PhoneEngine(verifier), np.clip(noise, -32768, 32767).astype(np.int16)) == []


def test_what_was_heard_is_forgotten_on_demand(verifier: PhraseVerifier) -> None:
    """A prompt begins in the middle of a phrase."""
    engine, samples = PhoneEngine(verifier), said("vial one is short of powder")
    half = (samples.size // 2) // BLOCK_SAMPLES * BLOCK_SAMPLES
    first = play(engine, samples[:half])
    assert engine.in_speech
    engine.reset()
    assert not engine.in_speech
    second = play(engine, samples[half:], half / SAMPLE_RATE)
    assert ("accept", "vial one is short of powder") not in decided([*first, *second])


@pytest.mark.parametrize("number", ["one two three milligrams", "seven decimal five milligrams"])
def test_numbers_where_one_is_asked_for(verifier: PhraseVerifier, number: str) -> None:
    """Digit by digit, with the runner-up beside it."""
    verifier.set_legal({f"{NUMBER} milligrams": "strict", "say again": "lenient"}, OTHERS)
    events = play(PhoneEngine(verifier), said(number))
    found = [each.judgement for each in events if isinstance(each, Decided)]
    assert [each.phrase for each in found] == [number]
    assert found[0].decision != "refuse"
    assert found[0].second.endswith("milligrams")


def test_a_phrase_is_still_heard_where_a_number_is_asked_for(verifier: PhraseVerifier) -> None:
    """The digit loop takes nothing that a phrase explains better."""
    verifier.set_legal({f"{NUMBER} milligrams": "strict", "say again": "lenient"}, OTHERS)
    assert decided(play(PhoneEngine(verifier), said("say again"))) == [("accept", "say again")]


def test_a_profile_goes_on_record_and_still_hears(model: PhoneModel) -> None:
    """Enrolled with the phrases themselves; the name holds its hash."""
    words = Pronunciations(model_folder(), GRAMMAR["pronunciations"])
    sayings = [
        (words.phrase(each), model.run(said(each)[8000:-16000].astype("<i2").tobytes()))
        for each in (*LEGAL, *OTHERS)
    ]
    profile = fit_profile("Ada", model.sha256, sayings * 3)
    verifier = PhraseVerifier(model, words, GRAMMAR["digits"], profile=profile)
    verifier.set_legal(LEGAL, OTHERS)
    assert profile.digest in verifier.name
    events = play(PhoneEngine(verifier), said("shaft looks clean"))
    assert decided(events) == [("accept", "shaft looks clean")]
