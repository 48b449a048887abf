"""Gate, judgements and clips of the pipeline, on synthetic sound with a real recogniser."""

from collections.abc import Callable

import pytest

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Judgement, Utterance
from assistant.speech.cut_and_judge import CutAndJudge
from assistant.speech.endpoint import Endpointer, EndpointSettings
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser
from assistant.speech.simulated_room import SimulatedRoom
from assistant.speech.tts import Voice
from tests.plain_judge import PlainJudge

PHRASES = ("bottom port open", "bottom set filled", "stop sampling now")


@pytest.fixture(scope="module")
def judge() -> PlainJudge:
    """Accepts whatever the grammar makes of an utterance."""
    recogniser = PocketSphinxRecogniser()
    recogniser.prepare(PHRASES)
    return PlainJudge(recogniser)


@pytest.fixture(scope="module")
def say() -> Callable[[str], bytes]:
    """Render with one voice."""
    return Voice("en-us+f3").render


def listen(pipeline: ListeningPipeline, room: SimulatedRoom, seconds: float) -> list[Judgement]:
    """Feed a stretch of the room."""
    judgements = []
    for _ in range(round(seconds * SAMPLE_RATE / BLOCK_SAMPLES)):
        judgements += pipeline.feed(room.next_block())
    return judgements


def settled(pipeline: ListeningPipeline) -> SimulatedRoom:
    """Return a room that the pipeline knows."""
    room = SimulatedRoom(snr_db=25, seed=4)
    assert listen(pipeline, room, 1.0) == []
    return room


def outcomes(judgements: list[Judgement]) -> list[tuple[str, str, str]]:
    """Return decision, text and reason of each."""
    return [(judgement.decision, judgement.text, judgement.reason) for judgement in judgements]


def test_spoken_phrases_become_verdicts_in_order(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """Each phrase is accepted once, with its sound and the engine's name."""
    pipeline = ListeningPipeline(CutAndJudge(judge))
    room = settled(pipeline)
    for phrase in PHRASES:
        room.say(say(phrase), after_s=0.8)
    judgements = listen(pipeline, room, 8.0)
    assert outcomes(judgements) == [("accept", phrase, "") for phrase in PHRASES]
    for judgement in judgements:
        assert judgement.engine.startswith("pocketsphinx")
        assert judgement.utterance.source == "voice"
        assert 0.8 < len(judgement.utterance.pcm) / 2 / SAMPLE_RATE < 2.5


def test_what_is_no_phrase_at_all_is_refused(judge: PlainJudge) -> None:
    """An utterance of which the engine makes nothing has its reason."""
    assert outcomes([judge(Utterance())]) == [("refuse", "", "no-phrase")]


def test_nothing_is_heard_from_the_start_of_a_prompt_to_the_end_of_the_tail(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """A phrase during the prompt, and one in the tail, is not heard; the next one is."""
    pipeline = ListeningPipeline(CutAndJudge(judge), tail_ms=350)
    room = settled(pipeline)
    pipeline.prompt_started()
    assert pipeline.shut
    room.say(say(PHRASES[0]))
    assert listen(pipeline, room, 3.0) == []
    pipeline.prompt_ended()
    assert pipeline.shut
    assert listen(pipeline, room, 0.35) == []
    assert not pipeline.shut
    room.say(say(PHRASES[1]))
    assert outcomes(listen(pipeline, room, 3.0)) == [("accept", PHRASES[1], "")]


def test_the_tail_is_a_setting(judge: PlainJudge) -> None:
    """Counted in sound, not in time."""
    pipeline = ListeningPipeline(CutAndJudge(judge), tail_ms=100)
    room = settled(pipeline)
    pipeline.prompt_started()
    pipeline.prompt_ended()
    listen(pipeline, room, 0.05)
    assert pipeline.shut
    listen(pipeline, room, 0.05)
    assert not pipeline.shut


def test_a_second_report_of_the_end_does_not_prolong_the_tail(judge: PlainJudge) -> None:
    """Only the end of a prompt that was running counts."""
    pipeline = ListeningPipeline(CutAndJudge(judge))
    room = settled(pipeline)
    pipeline.prompt_ended()
    assert not pipeline.shut
    pipeline.prompt_started()
    pipeline.prompt_ended()
    listen(pipeline, room, 0.3)
    pipeline.prompt_ended()
    listen(pipeline, room, 0.05)
    assert not pipeline.shut


def test_a_prompt_drops_the_utterance_it_cuts_into(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """Half a phrase before a prompt and half behind it are no phrase."""
    pipeline = ListeningPipeline(CutAndJudge(judge), tail_ms=0)
    room = settled(pipeline)
    room.say(say(PHRASES[0]))
    assert listen(pipeline, room, 0.4) == []
    pipeline.prompt_started()
    pipeline.prompt_ended()
    room.hush()
    assert listen(pipeline, room, 1.0) == []


def test_with_a_headset_the_gate_stays_open(judge: PlainJudge, say: Callable[[str], bytes]) -> None:
    """What is said during a prompt is judged as ever, and a prompt drops nothing."""
    pipeline = ListeningPipeline(CutAndJudge(judge), headset=True)
    room = settled(pipeline)
    pipeline.prompt_started()
    room.say(say("stop sampling now"))
    assert outcomes(listen(pipeline, room, 3.0)) == [("accept", "stop sampling now", "")]
    pipeline.prompt_ended()
    room.say(say("bottom port open"))
    listen(pipeline, room, 0.3)
    pipeline.prompt_started()
    assert outcomes(listen(pipeline, room, 3.0)) == [("accept", "bottom port open", "")]


def test_an_utterance_with_a_gap_is_refused(judge: PlainJudge, say: Callable[[str], bytes]) -> None:
    """Lost samples inside an utterance make it unusable, lost samples before it do not."""
    pipeline = ListeningPipeline(CutAndJudge(judge))
    room = settled(pipeline)
    pipeline.sound_lost()
    listen(pipeline, room, 1.0)
    room.say(say(PHRASES[0]))
    judgements = listen(pipeline, room, 0.5)
    pipeline.sound_lost()
    judgements += listen(pipeline, room, 2.5)
    assert outcomes(judgements) == [("refuse", "", "overflow")]
    room.say(say(PHRASES[0]))
    assert outcomes(listen(pipeline, room, 3.0)) == [("accept", PHRASES[0], "")]


def test_too_short_and_too_long_are_refused_unheard(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """The reason and the length stand in the judgement; no recogniser was asked."""
    pipeline = ListeningPipeline(
        CutAndJudge(judge, endpointer=Endpointer(EndpointSettings(maximum_ms=700)))
    )
    room = settled(pipeline)
    room.say(say("stop")[:5000])
    (short,) = listen(pipeline, room, 1.5)
    room.say(say("bottom set filled and bottom port open"))
    (long,) = listen(pipeline, room, 4.0)
    assert outcomes([short, long]) == [("refuse", "", "too-short"), ("refuse", "", "too-long")]
    assert 100 <= int(short.scores["duration-ms"]) < 250
    assert int(long.scores["duration-ms"]) > 600
    assert short.engine == "endpointer"


def test_the_end_of_the_stream_decides_on_the_last_phrase(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """A file that ends with its last word is heard whole."""
    pipeline = ListeningPipeline(CutAndJudge(judge))
    room = settled(pipeline)
    pcm = say(PHRASES[1])
    room.say(pcm)
    assert listen(pipeline, room, len(pcm) / 32000) == []
    assert outcomes(pipeline.finish()) == [("accept", PHRASES[1], "")]
    assert pipeline.finish() == []


def test_a_clip_keeps_everything_up_to_its_limit(judge: PlainJudge) -> None:
    """The clip is the sound itself, prompts included, cut at its limit."""
    pipeline = ListeningPipeline(CutAndJudge(judge))
    room = settled(pipeline)
    assert pipeline.stop_clip() == b""
    pipeline.start_clip(0.12)
    pipeline.prompt_started()
    blocks = [room.next_block() for _ in range(4)]
    for block in blocks:
        pipeline.feed(block)
    clip = pipeline.stop_clip()
    assert clip == b"".join(blocks)[: 2 * SAMPLE_RATE * 12 // 100]
    pipeline.start_clip(10)
    pipeline.feed(blocks[0])
    assert pipeline.stop_clip() == blocks[0]


def test_levels_of_the_room_are_shown(judge: PlainJudge) -> None:
    """Level and floor follow what was fed; a changed microphone starts them anew."""
    pipeline = ListeningPipeline(CutAndJudge(judge))
    room = settled(pipeline)
    assert pipeline.level_dbfs == pytest.approx(-51, abs=1.5)
    assert pipeline.floor_dbfs == pytest.approx(-51, abs=1.5)
    pipeline.microphone_changed()
    louder = SimulatedRoom(snr_db=5, seed=1)
    assert listen(pipeline, louder, 2.0) == []
    assert pipeline.floor_dbfs == pytest.approx(-31, abs=1.5)
    assert room.samples == SAMPLE_RATE


def test_an_utterance_is_announced_before_it_is_decided(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """What is announced last before a judgement is what the judgement is about."""
    announced: list[Utterance] = []
    pipeline = ListeningPipeline(CutAndJudge(judge, expect=announced.append))
    room = settled(pipeline)
    assert announced == []
    room.say(say(PHRASES[0]))
    judgements = listen(pipeline, room, 3.0)
    assert outcomes(judgements) == [("accept", PHRASES[0], "")]
    assert announced[-1] == judgements[0].utterance


def test_what_a_gap_spoils_is_not_announced(judge: PlainJudge, say: Callable[[str], bytes]) -> None:
    """Nobody is going to ask for it."""
    announced: list[Utterance] = []
    pipeline = ListeningPipeline(CutAndJudge(judge, expect=announced.append))
    room = settled(pipeline)
    room.say(say(PHRASES[1]))
    listen(pipeline, room, 0.5)
    pipeline.sound_lost()
    assert [judgement.reason for judgement in listen(pipeline, room, 3.0)] == ["overflow"]
    assert announced == []


def test_faint_voices_can_be_ignored(judge: PlainJudge, say: Callable[[str], bytes]) -> None:
    """Once the operator's level is known, what is 15 dB below it is no speech, numbers or not."""
    pipeline = ListeningPipeline(CutAndJudge(judge))
    room = settled(pipeline)
    room.say(say(PHRASES[0]))
    first = [heard for _ in range(60) for heard in pipeline.listen(room.next_block())]
    level = first[0].segment.level_dbfs
    pipeline.ignore_below(level - 15.0)
    pipeline.allow_numbers(wanted=True)
    room.say(say(PHRASES[1]), gain_db=-24.0)
    assert listen(pipeline, room, 3.0) == []
    room.say(say(PHRASES[1]))
    assert outcomes(listen(pipeline, room, 3.0)) == [("accept", PHRASES[1], "")]
