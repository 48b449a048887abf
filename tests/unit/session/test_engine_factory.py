"""Which engines listen: what is asked for, what the environment says, and who votes."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from assistant.errors import DeviceError
from assistant.grammar.language import Language, parse_grammar
from assistant.ports import Utterance
from assistant.session.engine_factory import (
    NO_SECOND,
    PACKAGED,
    SECOND_OPINION,
    SessionJudge,
    open_judge,
    open_second,
    second_folder,
)
from assistant.speech.simulated_room import Loopback
from assistant.speech.tts import Voice
from assistant.speech.utterance_verification import default_folder
from assistant.storage import bundled_files

PHRASES = ("dies are seated", "bottom is open", "tube is emptied out", "stop sampling now")


@pytest.fixture(autouse=True)
def _nothing_set(monkeypatch: pytest.MonkeyPatch) -> None:
    """Begin without a second opinion in the environment."""
    monkeypatch.delenv(SECOND_OPINION, raising=False)
    monkeypatch.delenv("SAMPLING_ASSISTANT_VOSK_MODEL", raising=False)


@pytest.fixture(scope="module")
def english() -> Language:
    """Return the shipped grammar."""
    return parse_grammar(bundled_files.read_grammar("en"), "en")


def test_no_second_opinion_unasked() -> None:
    """Even where its packages are installed, nobody votes who was not asked."""
    assert second_folder() is None
    assert open_second() is None


def test_the_environment_names_a_model_and_an_option_overrules_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The option counts first, and can also say that none is wanted."""
    monkeypatch.setenv(SECOND_OPINION, "models/tiny")
    assert second_folder() == Path("models/tiny")
    assert second_folder("elsewhere") == Path("elsewhere")
    assert second_folder(NO_SECOND) is None


@pytest.mark.model
def test_the_packaged_model_goes_by_a_word(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody needs to know where a package lies, in an option or in the environment."""
    assert second_folder(PACKAGED) == default_folder()
    monkeypatch.setenv(SECOND_OPINION, PACKAGED)
    assert second_folder() == default_folder()


def test_a_folder_without_a_model_is_said_so(english: Language, tmp_path: Path) -> None:
    """The folder is named, and what to do."""
    with pytest.raises(DeviceError, match=f"no speech model in {tmp_path}.*second-opinion"):
        open_judge(english, "embedded", second=str(tmp_path))


def heard(say: Callable[[str], bytes], words: str) -> Utterance:
    """Return words as spoken in a quiet room."""
    room = Loopback(snr_db=20, seed=5)
    room.say(say(words), after_s=0.3)
    blocks = [room.next_block()]
    while room.speaking:
        blocks.append(room.next_block())
    return Utterance(pcm=b"".join([*blocks, *(room.next_block() for _ in range(4))]))


@pytest.fixture(scope="module")
def both(english: Language) -> SessionJudge:
    """The embedded engine with the packaged model voting."""
    judge = open_judge(english, "embedded", second=PACKAGED)
    judge.prepare(PHRASES, PHRASES)
    return judge


@pytest.mark.model
def test_with_a_second_opinion_both_are_on_record_and_phrases_are_taken(
    both: SessionJudge,
) -> None:
    """The engine's name says who voted, and the scores hold the votes of both."""
    say = Voice("en-us+f3", rate=150).render
    verdicts = [both.judge(heard(say, words)) for words in PHRASES]
    assert [verdict.text for verdict in verdicts] == list(PHRASES)
    assert {verdict.decision for verdict in verdicts} <= {"accept", "ask"}
    for verdict in verdicts:
        assert "whisper" in verdict.engine
        assert "pocketsphinx" in verdict.engine
        assert {"w_tf", "gm", "total"} <= set(verdict.scores)


@pytest.mark.model
def test_the_second_opinion_votes_against_what_only_sounds_like_a_phrase(
    both: SessionJudge,
) -> None:
    """Said in the same voice, chatter near to a phrase gets a lower vote than the phrase itself."""
    say = Voice("en-us+m3", rate=150).render
    near = ("dyes are heated", "bottom is broken", "tube is empty now", "start sampling now")
    for phrase, words in zip(PHRASES, near, strict=True):
        both.prepare([phrase], [phrase])
        right, wrong = both.judge(heard(say, phrase)), both.judge(heard(say, words))
        assert float(wrong.scores.get("w_tf", "-25")) < float(right.scores["w_tf"]), words
    both.prepare(PHRASES, PHRASES)


def test_stricter_thresholds_hold_for_phrases(english: Language) -> None:
    """What was taken is asked back or refused once the thresholds are raised far enough."""
    judge = open_judge(english, "embedded")
    judge.prepare(PHRASES, PHRASES)
    utterance = heard(Voice("en-us+f3", rate=150).render, PHRASES[3])
    before = judge.judge(utterance)
    assert before.decision == "accept"
    judge.tighten(100.0)
    assert judge.judge(utterance).decision == "refuse"
    judge.tighten(0.0)
    assert judge.judge(utterance).decision == before.decision


def test_silence_is_no_phrase(english: Language) -> None:
    """Noise alone is refused."""
    judge = open_judge(english, "embedded")
    judge.prepare(PHRASES, PHRASES)
    noise = np.random.default_rng(1).normal(0, 30, 16000).astype("<i2").tobytes()
    assert judge.judge(Utterance(pcm=noise)).decision == "refuse"
