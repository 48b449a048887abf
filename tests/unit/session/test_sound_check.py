"""The sound check measures room and operator, and the session goes by what it found."""

from collections.abc import Callable

import pytest

from assistant.cli.sound_check import lines
from assistant.errors import DeviceError
from assistant.grammar.language import Language, parse_grammar
from assistant.plan import parse_plan
from assistant.ports import SAMPLE_RATE, PhraseEngine, Utterance
from assistant.procedure.model import begin
from assistant.session.engine_factory import open_engine
from assistant.session.sound_check import (
    BELOW_OPERATOR_DB,
    STRICTEST,
    WORKABLE_DB,
    Delays,
    Finding,
    SoundCheck,
    judging_ms,
    spoken_for_check,
    stricter,
    unworkable,
    with_delays,
)
from assistant.speech.audio_events import (
    AudioLost,
    MicrophoneBack,
    MicrophoneLost,
    QueueItem,
    SoundBlock,
    SoundEnded,
    SoundQueue,
    SpeakerLost,
)
from assistant.speech.loudspeaker import TextOnlySpeaker
from assistant.speech.simulated_room import SimulatedRoom
from assistant.speech.tts import Voice
from assistant.storage import bundled_files

LEVEL = -26.0
"""Of the operator, in dB relative to full scale, as the simulated room has it."""


@pytest.fixture(scope="module")
def english() -> Language:
    """Return the shipped grammar."""
    return parse_grammar(bundled_files.read_grammar("en"), "en")


@pytest.fixture(scope="module")
def judge(english: Language) -> PhraseEngine:
    """The phone model, loaded once."""
    return open_engine(english)


@pytest.fixture(scope="module")
def say() -> Callable[[str], bytes]:
    """Render the operator."""
    return Voice("en-us+f3", rate=150).render


@pytest.fixture
def phrases(english: Language) -> tuple[str, ...]:
    """Return what is to be said."""
    return spoken_for_check(
        english, begin(parse_plan(bundled_files.read_plan("double-cone"), "plan"))
    )


@pytest.fixture
def check(english: Language, judge: PhraseEngine, phrases: tuple[str, ...]) -> SoundCheck:
    """Return a check that has begun, with prompts as text."""
    return SoundCheck(english, judge, TextOnlySpeaker(), phrases)


def answered(check: SoundCheck, room: SimulatedRoom, say: Callable[[str], bytes]) -> Finding:
    """Let the operator say whatever he is asked for."""
    asked = ""
    while check.finding is None:
        if check.asking != asked:
            asked = check.asking
            if asked:
                room.say(say(asked), after_s=0.6)
        check.tick(room.next_block())
    return check.result


def test_a_quiet_room_is_workable_and_sets_the_least_level(
    check: SoundCheck, say: Callable[[str], bytes]
) -> None:
    """The levels are those of the room within 3 dB; what is 15 dB fainter will be ignored."""
    found = answered(check, SimulatedRoom(snr_db=25, speech_dbfs=LEVEL, seed=2), say)
    assert found.workable
    assert not found.event.overridden
    assert not found.event.clipped
    assert float(found.event.speech_dbfs) == pytest.approx(LEVEL, abs=4.0)
    assert found.noise_dbfs == pytest.approx(LEVEL - 25.0, abs=3.0)
    assert found.least_dbfs == pytest.approx(
        float(found.event.speech_dbfs) - BELOW_OPERATOR_DB, abs=0.06
    )
    assert found.event.recognised >= 3
    assert found.stricter == 0.0


def test_a_loud_room_is_refused_unless_overridden_aloud_and_makes_stricter(
    check: SoundCheck, say: Callable[[str], bytes]
) -> None:
    """The override is said into the same noise or typed; the thresholds rise with the noise."""
    found = answered(check, SimulatedRoom(snr_db=4, speech_dbfs=LEVEL, seed=2), say)
    if found.workable:
        assert found.event.overridden
    assert found.snr_db < WORKABLE_DB
    assert 0.0 < found.stricter <= STRICTEST


def test_the_override_may_be_typed(check: SoundCheck, english: Language) -> None:
    """With nobody to hear, the words on the keyboard count, and other words do not."""
    room = SimulatedRoom(snr_db=25, seed=2)
    while check.asking != english.sound_check.override:
        check.tick(room.next_block())
    check.key(Utterance(typed="go on", source="text"))
    assert check.finding is None
    check.key(Utterance(typed=english.sound_check.override.upper(), source="text"))
    assert check.result.event.overridden
    assert check.result.workable


def test_silence_is_not_workable(check: SoundCheck) -> None:
    """Nothing was said: refused, with the figures and what to do."""
    room = SimulatedRoom(snr_db=25, seed=2)
    with pytest.raises(RuntimeError, match="not over"):
        _ = check.result
    while check.finding is None:
        check.tick(room.next_block())
    assert not check.result.workable
    with pytest.raises(DeviceError, match=r"0\.0 dB.*0 of 4 phrases.*headset"):
        raise unworkable(check.result)


@pytest.mark.parametrize(
    ("snr_db", "expected"), [(30.0, 0.0), (12.0, 0.0), (10.0, 0.5), (6.0, 1.5), (-20.0, STRICTEST)]
)
def test_the_thresholds_rise_below_the_workable_ratio_only(snr_db: float, expected: float) -> None:
    """A quarter for each dB under 12 dB (by hand), 1.5 at most."""
    assert stricter(snr_db) == pytest.approx(expected, abs=1e-12)


def test_reports_of_devices_wait_and_are_given_back_in_order(
    check: SoundCheck, say: Callable[[str], bytes]
) -> None:
    """Nothing that came in during the check is lost; sound at 48 kHz is brought down."""
    queue, room = SoundQueue(), SimulatedRoom(snr_db=25, seed=2)
    reports: list[QueueItem] = [SpeakerLost("gone"), AudioLost(50), MicrophoneBack("mic")]

    class Answering(SoundQueue):
        """Gives the room's next block when nothing else waits, and says what is asked for."""

        asked = ""

        def get(self, timeout: float) -> QueueItem | None:
            """Return what was put, else sound."""
            if queue.backlog():
                return queue.get(timeout)
            if check.asking not in {"", self.asked}:
                self.asked = check.asking
                room.say(say(self.asked), after_s=0.6)
            return SoundBlock(room.next_block(), 0)

    for report in reports:
        queue.put(report)
    assert check.work(Answering()) == reports
    assert check.result.workable


@pytest.mark.parametrize(
    ("item", "words"),
    [(SoundEnded(), "ended during"), (MicrophoneLost("It is unplugged."), "It is unplugged")],
)
def test_without_sound_there_is_no_check(check: SoundCheck, item: QueueItem, words: str) -> None:
    """The file's end or the loss of the microphone is said."""
    queue = SoundQueue()
    queue.put(item)
    with pytest.raises(DeviceError, match=words):
        check.work(queue)


def test_what_was_found_is_told(check: SoundCheck, say: Callable[[str], bytes]) -> None:
    """The command prints levels, delays, what a session would do, and a judgement."""
    found = answered(check, SimulatedRoom(snr_db=25, speech_dbfs=LEVEL, seed=2), say)
    event = with_delays(found.event, Delays(microphone=61.04, speaker=None))
    assert (event.microphone_ms, event.speaker_ms) == ("61.0", "")
    text = "\n".join(lines(found, event.microphone_ms, event.speaker_ms, ("mic A", "text only")))
    assert "microphone: mic A, delay 61.0 ms as its system reports it" in text
    assert "loudspeaker: text only, delay not known" in text
    assert f"signal to noise: {event.snr_db} dB" in text
    assert "raise its thresholds by 0.00" in text
    assert text.endswith("sound check: good")


def test_how_long_a_phrase_takes_to_judge_is_measured(
    check: SoundCheck, judge: PhraseEngine, say: Callable[[str], bytes]
) -> None:
    """On what was said last, judged anew each time."""
    assert check.latest.pcm == b""
    answered(check, SimulatedRoom(snr_db=25, speech_dbfs=LEVEL, seed=2), say)
    assert len(check.latest.pcm) > SAMPLE_RATE
    judge.judge(check.latest)
    assert judging_ms(judge, check.latest) > 0.5
