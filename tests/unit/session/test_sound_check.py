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
    Problem,
    SoundCheck,
    explained,
    judging_ms,
    spoken_for_check,
    stricter,
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
    """Nothing was said: refused, and that is what is told."""
    room = SimulatedRoom(snr_db=25, seed=2)
    with pytest.raises(RuntimeError, match="not over"):
        _ = check.result
    while check.finding is None:
        check.tick(room.next_block())
    assert not check.result.workable
    assert check.result.problem is Problem.NOTHING_HEARD


class Scene:
    """A check in a room where somebody says what a test wants to be said."""

    def __init__(
        self, language: Language, judge: PhraseEngine, phrases: tuple[str, ...], *, again: bool
    ) -> None:
        """Begin the check."""
        self.shown: list[str] = []
        self.check = SoundCheck(
            language, judge, TextOnlySpeaker(), phrases, self.shown.append, again=again
        )

    def run(
        self,
        room: SimulatedRoom,
        say: Callable[[str], bytes],
        answer: Callable[[str], str],
        *,
        until: Callable[[], bool] = lambda: False,
    ) -> None:
        """Answer what is asked, "" standing for the quiet part, until the check is over."""
        told = 0
        while self.check.finding is None and not until():
            if len(self.shown) > told:
                told = len(self.shown)
                if words := answer(self.check.asking):
                    room.say(say(words), after_s=0.6)
            self.check.tick(room.next_block())


@pytest.mark.parametrize(
    ("snr_db", "level", "answer", "problem"),
    [
        (4.0, LEVEL, lambda asked: asked, Problem.TOO_LOUD),
        (6.0, -56.0, lambda asked: asked, Problem.WRONG_MICROPHONE),
        (30.0, LEVEL, lambda _: "", Problem.NOTHING_HEARD),
        (30.0, LEVEL, lambda _: "where did you put the ladder", Problem.SPOKEN_OVER),
        (30.0, LEVEL, lambda asked: asked and "tomatoes are red", Problem.NOT_UNDERSTOOD),
    ],
    ids=lambda value: value.value if isinstance(value, Problem) else "",
)
def test_each_problem_is_told_with_its_own_remedy(
    *,
    snr_db: float,
    level: float,
    answer: Callable[[str], str],
    problem: Problem,
    english: Language,
    judge: PhraseEngine,
    phrases: tuple[str, ...],
    say: Callable[[str], bytes],
) -> None:
    """What is wrong, what helps, and the words to start all the same, shown as they are spoken."""
    scene = Scene(english, judge, phrases, again=False)
    override = english.sound_check.override

    def answered(asked: str) -> str:
        return "" if asked == override else answer(asked)

    scene.run(SimulatedRoom(snr_db=snr_db, speech_dbfs=level, seed=2), say, answered)
    assert scene.check.result.problem is problem
    assert not scene.check.result.workable
    assert scene.shown[-1].startswith(explained(english, problem))
    assert f"say: {override}" in scene.shown[-1]


def test_every_problem_has_its_own_sentence(english: Language) -> None:
    """An older grammar has one for all."""
    assert len({explained(english, problem) for problem in Problem}) == len(Problem)
    words = english.sound_check.model_copy(update={"nothing_heard": None})
    old = english.model_copy(update={"sound_check": words})
    assert explained(old, Problem.NOTHING_HEARD) == words.too_loud


def test_a_microphone_without_sound_is_the_wrong_one(check: SoundCheck) -> None:
    """Digital silence comes from a switch or from another device."""
    while check.finding is None:
        check.tick(bytes(2 * SAMPLE_RATE // 20))
    assert check.result.problem is Problem.WRONG_MICROPHONE


def test_a_voice_in_the_quiet_part_is_asked_to_be_quiet(
    english: Language, judge: PhraseEngine, phrases: tuple[str, ...], say: Callable[[str], bytes]
) -> None:
    """Measured anew; the second time it is quiet, and nothing is wrong."""
    scene = Scene(english, judge, phrases, again=False)
    spoken: list[str] = []

    def answer(asked: str) -> str:
        if asked or spoken:
            return asked
        spoken.append("hm")
        return "where did you put the ladder"

    scene.run(SimulatedRoom(snr_db=25, speech_dbfs=LEVEL, seed=2), say, answer)
    assert scene.shown[1] == english.sound_check.spoken_over
    assert scene.check.result.problem is None


def test_a_session_s_check_begins_again_by_itself(
    english: Language, judge: PhraseEngine, phrases: tuple[str, ...], say: Callable[[str], bytes]
) -> None:
    """Nobody need touch anything: silent the first time, then as asked."""
    scene = Scene(english, judge, phrases, again=True)
    quiet = english.sound_check.quiet
    room = SimulatedRoom(snr_db=25, speech_dbfs=LEVEL, seed=2)
    scene.run(room, say, lambda _: "", until=lambda: scene.shown.count(quiet) == 2)
    assert scene.check.finding is None
    scene.run(room, say, lambda asked: asked)
    assert scene.check.result.problem is None
    assert not scene.check.result.event.overridden


def test_the_override_counts_at_any_time_after_a_failure(
    english: Language, judge: PhraseEngine, phrases: tuple[str, ...], say: Callable[[str], bytes]
) -> None:
    """Also in answer to a phrase of the next round; before a failure it is a wrong phrase."""
    scene = Scene(english, judge, phrases, again=True)
    override, room = english.sound_check.override, SimulatedRoom(snr_db=25, seed=2)
    scene.run(
        room,
        say,
        lambda asked: override if asked in phrases else "",
        until=lambda: scene.shown.count(english.sound_check.quiet) == 2,
    )
    assert scene.check.finding is None
    scene.run(room, say, lambda asked: override if asked in phrases else "")
    assert scene.check.result.event.overridden
    assert scene.check.result.workable
    assert scene.check.result.problem is Problem.NOTHING_HEARD


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


def test_what_was_found_is_told(
    check: SoundCheck, english: Language, say: Callable[[str], bytes]
) -> None:
    """The command prints levels, delays, what a session would do, and a judgement."""
    found = answered(check, SimulatedRoom(snr_db=25, speech_dbfs=LEVEL, seed=2), say)
    event = with_delays(found.event, Delays(microphone=61.04, speaker=None))
    assert (event.microphone_ms, event.speaker_ms) == ("61.0", "")
    text = "\n".join(
        lines(english, found, event.microphone_ms, event.speaker_ms, ("mic A", "text only"))
    )
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
