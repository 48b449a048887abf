"""Which engine listens: what is asked for, and nothing else."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import DeviceError, InputError
from assistant.grammar.language import Language, parse_grammar
from assistant.ports import Utterance
from assistant.session.engine_factory import EngineChoice, open_engine
from assistant.speech.embedded_engine import EmbeddedEngine
from assistant.speech.phone_listening import PhonesEngine
from assistant.speech.simulated_room import SimulatedRoom
from assistant.speech.tts import Voice
from assistant.storage import bundled_files

PHRASES = ("dies are seated", "bottom is open", "tube is emptied out", "stop sampling now")


@pytest.fixture(autouse=True)
def _nothing_set(monkeypatch: pytest.MonkeyPatch) -> None:
    """Begin without a Vosk model in the environment."""
    monkeypatch.delenv("SAMPLING_ASSISTANT_VOSK_MODEL", raising=False)


@pytest.fixture(scope="module")
def english() -> Language:
    """Return the shipped grammar."""
    return parse_grammar(bundled_files.read_grammar("en"), "en")


def test_the_phone_model_listens_unless_another_engine_is_asked_for(english: Language) -> None:
    """Even where a Vosk model lies in a place where one is looked for."""
    engine = open_engine(english)
    assert isinstance(engine, PhonesEngine)
    assert engine.profile_sha256 == ""
    assert isinstance(open_engine(english, "embedded"), EmbeddedEngine)


@pytest.mark.parametrize("choice", ["phones", "embedded"])
def test_a_grammar_in_another_language_is_told_which_engine_to_use(
    english: Language, choice: EngineChoice
) -> None:
    """The English engines would hear nothing but English in it."""
    korean = english.model_copy(update={"language": "ko"})
    with pytest.raises(InputError, match=r'hears English only.*"ko".*--engine vosk.*--model'):
        open_engine(korean, choice)


def test_vosk_without_a_model_says_what_to_do(english: Language, tmp_path: Path) -> None:
    """Vosk is never looked for unasked, and asked for, it must be there."""
    foreign = english.model_copy(update={"language": "xx"})
    with pytest.raises(DeviceError, match="No Vosk model was found: name a folder with --model"):
        open_engine(foreign, "vosk")
    with pytest.raises(DeviceError, match="lacks"):
        open_engine(english, "vosk", tmp_path)


def test_a_profile_belongs_to_the_phone_model(english: Language, tmp_path: Path) -> None:
    """Another engine cannot use it."""
    with pytest.raises(InputError, match="belongs to the phone model: choose --engine phones"):
        open_engine(english, "embedded", voice=tmp_path / "ann.voice.json")


def heard(say: Callable[[str], bytes], words: str) -> Utterance:
    """Return words as spoken in a quiet room."""
    room = SimulatedRoom(snr_db=20, seed=5)
    room.say(say(words), after_s=0.3)
    blocks = [room.next_block()]
    while room.speaking:
        blocks.append(room.next_block())
    return Utterance(pcm=b"".join([*blocks, *(room.next_block() for _ in range(4))]))


def test_stricter_thresholds_hold_for_phrases(english: Language) -> None:
    """What was taken is asked back or refused once the thresholds are raised far enough."""
    judge = open_engine(english, "embedded")
    judge.prepare(PHRASES, dict.fromkeys(PHRASES, "strict"))
    utterance = heard(Voice("en-us+f3", rate=150).render, PHRASES[3])
    before = judge.judge(utterance)
    assert before.decision == "accept"
    judge.tighten(100.0)
    assert judge.judge(utterance).decision == "refuse"
    judge.tighten(0.0)
    assert judge.judge(utterance).decision == before.decision


def test_silence_is_no_phrase(english: Language) -> None:
    """Noise alone is refused."""
    judge = open_engine(english, "embedded")
    judge.prepare(PHRASES, dict.fromkeys(PHRASES, "strict"))
    noise = np.random.default_rng(1).normal(0, 30, 16000).astype("<i2").tobytes()
    assert judge.judge(Utterance(pcm=noise)).decision == "refuse"
