"""Every detector keeps the same promises: the phone model, and cutting with pocketsphinx."""

from collections.abc import Callable, Iterator

import pytest

from assistant.grammar.language import parse_grammar
from assistant.ports import BLOCK_SAMPLES
from assistant.session.engine_factory import EngineChoice, open_engine
from assistant.speech.detector import Detector, PlacedJudgement
from assistant.speech.detectors import detector_for, working_ahead
from assistant.speech.early_judgement import EarlyJudgement
from assistant.speech.simulated_room import SimulatedRoom
from assistant.speech.tts import Voice
from assistant.storage import bundled_files

pytestmark = pytest.mark.model

PHRASES = ("stop sampling now", "tube is emptied out")


@pytest.fixture(scope="module", params=["phones", "embedded"])
def fresh(request: pytest.FixtureRequest) -> Iterator[Callable[[], Detector]]:
    """Yield what makes a detector that has heard nothing yet."""
    choice: EngineChoice = request.param
    language = parse_grammar(bundled_files.read_grammar("en"), "en")
    engine = working_ahead(open_engine(language, choice))
    engine.prepare(PHRASES, dict.fromkeys(PHRASES, "strict"), PHRASES)
    yield lambda: detector_for(engine)
    if isinstance(engine, EarlyJudgement):
        engine.close()


@pytest.fixture(scope="module")
def say() -> Callable[[str], bytes]:
    """Render an operator."""
    return Voice("en-us+f3", rate=150).render


def room() -> SimulatedRoom:
    """Return a quiet room."""
    return SimulatedRoom(snr_db=30, seed=6)


def listen(detector: Detector, where: SimulatedRoom, seconds: float) -> list[PlacedJudgement]:
    """Feed a stretch of the room."""
    blocks = [where.next_block() for _ in range(round(seconds * 20))]
    return [found for block in blocks for found in detector.feed(block)]


def test_a_quiet_room_says_nothing_and_is_measured(fresh: Callable[[], Detector]) -> None:
    """Fed and skipped samples count; the level and the floor are the room's."""
    detector, where = fresh(), room()
    assert listen(detector, where, 2.0) == []
    assert detector.skip(BLOCK_SAMPLES) == []
    assert detector.position == 41 * BLOCK_SAMPLES
    assert detector.level_dbfs == pytest.approx(-56, abs=2)
    assert detector.floor_dbfs == pytest.approx(-56, abs=2)
    assert detector.finish() == []


def test_each_phrase_is_judged_once_in_its_place(
    fresh: Callable[[], Detector], say: Callable[[str], bytes]
) -> None:
    """In order, with its sound, soon after its end."""
    detector, where = fresh(), room()
    listen(detector, where, 1.0)
    for phrase in PHRASES:
        where.say(say(phrase), after_s=1.0)
    found = listen(detector, where, 8.0)
    assert [each.judgement.text for each in found] == list(PHRASES)
    for each in found:
        segment = each.segment
        assert each.judgement.utterance.pcm
        assert segment.first_sample < segment.last_sample < segment.closed_sample
        assert segment.closed_sample - segment.last_sample < 16_000
        assert segment.level_dbfs == pytest.approx(-26, abs=6)


def test_a_gap_refuses_what_surrounds_it(
    fresh: Callable[[], Detector], say: Callable[[str], bytes]
) -> None:
    """And nothing before or after."""
    detector, where = fresh(), room()
    listen(detector, where, 1.0)
    detector.sound_lost()
    listen(detector, where, 1.0)
    where.say(say(PHRASES[0]))
    found = listen(detector, where, 0.6)
    detector.sound_lost()
    found += listen(detector, where, 2.5)
    assert {(each.judgement.decision, each.judgement.reason) for each in found} == {
        ("refuse", "overflow")
    }
    where.say(say(PHRASES[1]))
    assert [each.judgement.text for each in listen(detector, where, 3.0)] == [PHRASES[1]]


def test_what_is_reset_or_skipped_is_not_heard(
    fresh: Callable[[], Detector], say: Callable[[str], bytes]
) -> None:
    """Half a phrase never passes for one."""
    detector, where = fresh(), room()
    listen(detector, where, 1.0)
    where.say(say(PHRASES[1]))
    assert listen(detector, where, 0.8) == []
    detector.reset()
    rest = listen(detector, where, 2.5)
    assert "accept" not in {each.judgement.decision for each in rest}
    where.say(say(PHRASES[1]))
    while where.speaking:
        where.next_block()
        assert detector.skip(BLOCK_SAMPLES) == []
    assert listen(detector, where, 1.5) == []


def test_the_end_of_the_stream_decides(
    fresh: Callable[[], Detector], say: Callable[[str], bytes]
) -> None:
    """On what has begun, once; another room is learnt again."""
    detector, where = fresh(), room()
    listen(detector, where, 1.0)
    pcm = say(PHRASES[0])
    where.say(pcm)
    assert listen(detector, where, len(pcm) / 32_000) == []
    detector.allow_numbers(wanted=False)
    detector.answering()
    assert [each.judgement.text for each in detector.finish()] == [PHRASES[0]]
    detector.answered()
    detector.forget_room()
    assert listen(detector, SimulatedRoom(snr_db=10, seed=3), 2.0) == []
    assert detector.floor_dbfs == pytest.approx(-36, abs=2)


def test_what_is_fainter_than_the_operator_is_ignored(
    fresh: Callable[[], Detector], say: Callable[[str], bytes]
) -> None:
    """Somebody else talks at the other end of the room."""
    detector, where = fresh(), room()
    listen(detector, where, 1.0)
    detector.ignore_below(-35.0)
    where.say(say(PHRASES[0]), gain_db=-24.0)
    assert listen(detector, where, 3.0) == []
    where.say(say(PHRASES[0]))
    assert [each.judgement.text for each in listen(detector, where, 3.0)] == [PHRASES[0]]
