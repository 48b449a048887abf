"""The phone model as a detector: real sound, real network, what is given out and when."""

from collections.abc import Callable
from functools import cache

import numpy as np
import pytest

from assistant.grammar.language import Language, parse_grammar
from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Stakes, Utterance
from assistant.session.engine_factory import open_phones
from assistant.speech.detector import PlacedJudgement
from assistant.speech.detectors import detector_for
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.speech.pcm import bytes_of, samples_of
from assistant.speech.phone_listening import HELD, PhoneDetector, PhonesEngine
from assistant.speech.tts import Voice
from assistant.storage import bundled_files

pytestmark = pytest.mark.model

LEGAL: dict[str, Stakes] = {
    "sampler at depth": "strict",
    "shaft looks clean": "strict",
    "stop sampling now": "strict",
    "say again": "lenient",
}
OTHERS = ("dies are seated", "tube is emptied out")


@cache
def english() -> Language:
    """Return the shipped grammar."""
    return parse_grammar(bundled_files.read_grammar("en"), "en")


@pytest.fixture(scope="module")
def loaded() -> PhonesEngine:
    """Return the engine, loaded once."""
    return open_phones(english())


@pytest.fixture
def engine(loaded: PhonesEngine) -> PhonesEngine:
    """Return the engine with a few phrases and the usual thresholds."""
    loaded.prepare([*LEGAL, *OTHERS], LEGAL)
    loaded.tighten(0.0)
    return loaded


@pytest.fixture(scope="module")
def say() -> Callable[[str], bytes]:
    """Render one voice."""
    return Voice("en-us", rate=150).render


Sound = Callable[..., list[bytes]]


@pytest.fixture(scope="module")
def sound(say: Callable[[str], bytes]) -> Sound:
    """Return a function that makes blocks: words, and pauses in seconds between them."""

    def made(*parts: str | float) -> list[bytes]:
        pieces: list[np.ndarray] = []
        for part in (1.0, *parts, 1.2):
            if isinstance(part, float):
                pieces.append(np.zeros(int(part * SAMPLE_RATE)))
                continue
            words = samples_of(say(part)).astype(np.float64) * 0.3
            loud = np.flatnonzero(np.abs(words) > 60)
            pieces.append(words[loud[0] : loud[-1] + 1])
        whole = np.concatenate(pieces)
        whole += np.random.default_rng(1).normal(0, 8, whole.size)
        data, size = bytes_of(whole), 2 * BLOCK_SAMPLES
        return [data[at : at + size] for at in range(0, len(data) - size + 1, size)]

    return made


def told(found: list[PlacedJudgement]) -> list[tuple[str, str, str]]:
    """Return decision, phrase and reason of each."""
    return [(each.judgement.decision, each.judgement.text, each.judgement.reason) for each in found]


def play(detector: PhoneDetector, blocks: list[bytes]) -> list[PlacedJudgement]:
    """Feed all blocks."""
    return [heard for block in blocks for heard in detector.feed(block)]


def test_a_phrase_is_placed_and_measured(engine: PhonesEngine, sound: Sound) -> None:
    """Where it began and ended, how loud it was, what speaks for it, and its sound."""
    blocks = sound("sampler at depth")
    detector = PhoneDetector(engine)
    (placed,) = play(detector, blocks)
    assert told([placed]) == [("accept", "sampler at depth", "")]
    segment, judgement = placed.segment, placed.judgement
    end = len(blocks) * BLOCK_SAMPLES - 1.2 * SAMPLE_RATE
    assert 0.9 * SAMPLE_RATE < segment.first_sample < 1.4 * SAMPLE_RATE
    assert abs(segment.last_sample - end) < 0.4 * SAMPLE_RATE
    assert segment.closed_sample - end < 0.45 * SAMPLE_RATE
    assert segment.level_dbfs > segment.floor_dbfs + 20
    assert (segment.clipped, segment.too_short, segment.ended_by) == (0, False, "quiet")
    assert segment.duration_ms == (segment.last_sample - segment.first_sample) // 16
    assert judgement.engine == engine.name
    assert float(judgement.scores["total"]) > float(judgement.scores["accept"])
    assert engine.judge(judgement.utterance).text == "sampler at depth"
    assert detector.level_dbfs == pytest.approx(-72, abs=2)
    assert detector.floor_dbfs == pytest.approx(-72, abs=3)


@pytest.mark.parametrize("gap", [0.1, 0.3])
def test_a_contradiction_arrives_as_a_refusal_and_never_as_a_phrase(
    engine: PhonesEngine, sound: Sound, gap: float
) -> None:
    """The session needs to undo nothing."""
    found = told(play(PhoneDetector(engine), sound("sampler at depth", gap, "no it is not")))
    assert [decision for decision, _, _ in found] == ["refuse"]
    assert found[0][2] == "contradicted"


def test_a_phrase_taken_is_held_for_two_blocks(engine: PhonesEngine, sound: Sound) -> None:
    """Sound that is lost behind it may have held a "no"."""
    blocks = sound("sampler at depth")
    plain = PhoneDetector(engine)
    given = next(n for n, block in enumerate(blocks) if plain.feed(block))
    detector = PhoneDetector(engine)
    assert play(detector, blocks[:given]) == []
    detector.sound_lost()
    assert told(play(detector, blocks[given:])) == [("refuse", "sampler at depth", "overflow")]
    assert HELD == 2 * BLOCK_SAMPLES


def test_lost_sound_spoils_what_surrounds_it_and_nothing_later(
    engine: PhonesEngine, sound: Sound
) -> None:
    """Refused as overflow, once."""
    blocks = sound("sampler at depth")
    detector = PhoneDetector(engine)
    play(detector, blocks[:26])
    detector.sound_lost()
    assert [reason for _, _, reason in told(play(detector, blocks[26:]))] == ["overflow"]
    assert told(play(detector, sound("say again"))) == [("accept", "say again", "")]


def test_what_is_said_at_once_has_no_gap_before_it(engine: PhonesEngine, sound: Sound) -> None:
    """The stream begins less than the lead before the phrase, and nothing was lost."""
    blocks = sound("sampler at depth")[14:]
    (placed,) = play(PhoneDetector(engine), blocks)
    assert placed.segment.first_sample < 7200
    assert placed.judgement.reason != "overflow"


def test_a_prompt_drops_half_a_phrase_but_not_one_that_is_held(
    engine: PhonesEngine, sound: Sound
) -> None:
    """What is complete is given out; while something sounds behind it, it counts as unclear."""
    blocks = sound("sampler at depth")
    plain = PhoneDetector(engine)
    given = next(n for n, block in enumerate(blocks) if plain.feed(block))
    half = ListeningPipeline(PhoneDetector(engine), tail_ms=0)
    for block in blocks[:26]:
        assert half.feed(block) == []
    half.prompt_started()
    half.prompt_ended()
    rest = [heard.decision for block in blocks[26:] for heard in half.feed(block)]
    assert set(rest) <= {"refuse"}
    held = ListeningPipeline(PhoneDetector(engine))
    for block in blocks[:given]:
        assert held.feed(block) == []
    held.prompt_started()
    assert [heard.text for heard in held.feed(blocks[given])] == ["sampler at depth"]
    assert [heard for block in blocks[given:] for heard in held.feed(block)] == []


def test_with_a_headset_a_prompt_drops_no_phrase(engine: PhonesEngine, sound: Sound) -> None:
    """It may be said into the prompt."""
    pipeline = ListeningPipeline(PhoneDetector(engine), headset=True)
    blocks = sound("stop sampling now")
    for block in blocks[:26]:
        pipeline.feed(block)
    pipeline.prompt_started("Wait.")
    found = [heard.text for block in blocks[26:] for heard in pipeline.feed(block)]
    assert found == ["stop sampling now"]


def test_talk_that_resembles_nothing_is_refused_in_silence(
    engine: PhonesEngine, sound: Sound
) -> None:
    """Only "unclear" makes the program speak."""
    talk = sound("did you see the football last night it was terrible")
    found = told(play(PhoneDetector(engine), talk))
    assert {decision for decision, _, _ in found} == {"refuse"}
    assert "unclear" not in {reason for _, _, reason in found}


def test_a_second_try_without_success_is_answered(engine: PhonesEngine, sound: Sound) -> None:
    """Nobody keeps talking to a program that is silent; an answer by key begins anew."""
    (clear,) = play(PhoneDetector(engine), sound("sampler at depth"))
    engine.tighten(float(clear.judgement.scores["total"]) - 1.0)
    detector = PhoneDetector(engine)
    reasons = []
    for _ in range(4):
        reasons += [reason for _, _, reason in told(play(detector, sound("sampler at depth")))]
    assert reasons == ["unclear", "unclear", "unanswered", "unanswered"]
    detector.answered()
    found = told(play(detector, sound("sampler at depth")))
    assert found == [("ask", "sampler at depth", "unclear")]


def test_the_end_of_a_file_decides_on_the_last_phrase(engine: PhonesEngine, sound: Sound) -> None:
    """As if silence followed."""
    blocks = sound("say again")[:-22]
    detector = PhoneDetector(engine)
    assert play(detector, blocks) == []
    assert told(detector.finish()) == [("accept", "say again", "")]
    assert detector.finish() == []


def test_faint_voices_are_ignored_where_the_operator_s_level_is_known(
    engine: PhonesEngine, sound: Sound
) -> None:
    """Somebody speaks at the other end of the room."""
    detector = PhoneDetector(engine)
    detector.ignore_below(-10.0)
    assert play(detector, sound("sampler at depth")) == []
    detector.ignore_below(-60.0)
    detector.allow_numbers(wanted=False)
    assert told(play(detector, sound("sampler at depth"))) == [("accept", "sampler at depth", "")]


def test_the_room_is_learnt_again(engine: PhonesEngine, sound: Sound) -> None:
    """After another microphone was opened."""
    detector = PhoneDetector(engine)
    play(detector, sound())
    detector.forget_room()
    loud = np.random.default_rng(2).normal(0, 500, 20 * BLOCK_SAMPLES)
    data = bytes_of(loud)
    blocks = [data[at : at + 2 * BLOCK_SAMPLES] for at in range(0, len(data), 2 * BLOCK_SAMPLES)]
    assert play(detector, blocks) == []
    assert detector.floor_dbfs == pytest.approx(-36, abs=2)
    assert detector.skip(BLOCK_SAMPLES) == []
    assert detector.position == (len(sound()) + 21) * BLOCK_SAMPLES


def test_an_engine_has_the_detector_it_needs(engine: PhonesEngine) -> None:
    """Typed lines are judged by the engine itself."""
    assert isinstance(detector_for(engine), PhoneDetector)
    assert engine.judge(Utterance(typed=" Say  AGAIN ", source="text")).decision == "accept"
    assert engine.judge(Utterance(typed="tea", source="text")).reason == "no-phrase"
