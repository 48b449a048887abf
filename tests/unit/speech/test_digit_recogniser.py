"""Spoken numbers: heard digit by digit with the unit last, only where one is asked for."""

from collections.abc import Callable

import pytest

from assistant.grammar.language import Language, parse_grammar
from assistant.grammar.rendering import NUMBER, phrase
from assistant.ports import Judgement, Utterance
from assistant.procedure.enums import Intent
from assistant.procedure.events import Meaning
from assistant.speech.cut_and_judge import CutAndJudge
from assistant.speech.embedded_engine import EmbeddedEngine
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.speech.simulated_room import SimulatedRoom
from assistant.speech.tts import Voice
from assistant.storage import bundled_files

OTHERS = ("say again", "where are we", "stop sampling now", "make a spill note")


@pytest.fixture(scope="module")
def english() -> Language:
    """Return the shipped grammar."""
    return parse_grammar(bundled_files.read_grammar("en"), "en")


@pytest.fixture(scope="module")
def asking(english: Language) -> EmbeddedEngine:
    """An acceptance layer while a mass is asked for."""
    made = EmbeddedEngine(english.pronunciations, english.digits)
    mass = phrase(english, Meaning(intent=Intent.MASS))
    assert NUMBER in mass
    made.prepare([mass, *OTHERS], dict.fromkeys([mass, *OTHERS], "strict"))
    return made


@pytest.fixture(scope="module")
def say() -> Callable[[str], bytes]:
    """Render the operator."""
    return Voice("en-us+f3", rate=150).render


def heard(judge: EmbeddedEngine, *spoken: bytes, pause_s: float = 0.1) -> list[Judgement]:
    """Return what a pipeline decides that listens for a number."""
    pipeline = ListeningPipeline(CutAndJudge(judge.judge))
    pipeline.allow_numbers(wanted=True)
    room = SimulatedRoom(snr_db=25, seed=4)
    for _ in range(30):
        assert pipeline.feed(room.next_block()) == []
    for pcm in spoken:
        room.say(pcm, after_s=pause_s)
    judgements = []
    while room.speaking:
        judgements += pipeline.feed(room.next_block())
    for _ in range(40):
        judgements += pipeline.feed(room.next_block())
    return judgements


@pytest.mark.parametrize(
    "words",
    [
        "one two point three milligrams",
        "one zero zero milligrams",
        "two eight milligrams",
    ],
)
def test_a_number_is_heard_with_its_unit(
    asking: EmbeddedEngine, say: Callable[[str], bytes], words: str
) -> None:
    """Clear cases, taken at once as words; the procedure reads them back before they count."""
    (judgement,) = heard(asking, say(words))
    assert (judgement.decision, judgement.text) == ("accept", words)
    assert judgement.engine.endswith("digits")


def test_a_number_dictated_with_pauses_is_one_number(
    asking: EmbeddedEngine, say: Callable[[str], bytes]
) -> None:
    """Words that stand 300 ms apart and take five seconds in all."""
    words = ["one", "two", "three", "point", "four", "milligrams"]
    (judgement,) = heard(asking, *(say(word) for word in words), pause_s=0.15)
    assert judgement.text.split()[-1] == "milligrams"
    assert len(judgement.text.split()) >= 5


def test_a_phrase_counts_while_a_number_is_asked_for(
    asking: EmbeddedEngine, say: Callable[[str], bytes]
) -> None:
    """Whoever stops the sampling is not taken for a number."""
    (judgement,) = heard(asking, say("stop sampling now"))
    assert (judgement.decision, judgement.text) == ("accept", "stop sampling now")


@pytest.mark.parametrize("words", ["did you see the game last night", "the weather is nice today"])
def test_chatter_is_no_number(
    asking: EmbeddedEngine, say: Callable[[str], bytes], words: str
) -> None:
    """The free loop of phones takes it."""
    assert [v.decision for v in heard(asking, say(words)) if v.decision == "accept"] == []


def test_no_number_is_heard_where_none_is_asked_for(
    english: Language, say: Callable[[str], bytes]
) -> None:
    """Outside the weighing no digits count, and no decoder is held ready for them."""
    judge = EmbeddedEngine(english.pronunciations, english.digits)
    judge.prepare(OTHERS, dict.fromkeys(OTHERS, "strict"))
    judgements = heard(judge, say("one two point three milligrams"))
    assert not any(judgement.engine.endswith("digits") for judgement in judgements)
    assert [v for v in judgements if v.decision == "accept"] == []


def test_what_is_typed_is_no_sound(asking: EmbeddedEngine) -> None:
    """A typed phrase is decided as text."""
    assert asking.judge(Utterance(typed="Say  again", source="text")).text == "say again"
    assert asking.judge(Utterance(pcm=b"\x01\x00" * 100)).decision == "refuse"
