"""Gate, verdicts and clips of the ear, on synthetic sound with the real embedded recogniser."""

from collections.abc import Callable

import pytest

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Utterance, Verdict
from assistant.speech.endpoint import Endpointer, EndpointSettings
from assistant.speech.listening_pipeline import Ear, PlainJudge
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser
from assistant.speech.simulated_room import Loopback
from assistant.speech.tts import Voice

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


def listen(ear: Ear, room: Loopback, seconds: float) -> list[Verdict]:
    """Feed a stretch of the room."""
    verdicts = []
    for _ in range(round(seconds * SAMPLE_RATE / BLOCK_SAMPLES)):
        verdicts += ear.feed(room.next_block())
    return verdicts


def settled(ear: Ear) -> Loopback:
    """Return a room that the ear knows."""
    room = Loopback(snr_db=25, seed=4)
    assert listen(ear, room, 1.0) == []
    return room


def outcomes(verdicts: list[Verdict]) -> list[tuple[str, str, str]]:
    """Return decision, text and reason of each."""
    return [(verdict.decision, verdict.text, verdict.reason) for verdict in verdicts]


def test_spoken_phrases_become_verdicts_in_order(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """Each phrase is accepted once, with its sound and the engine's name."""
    ear = Ear(judge)
    room = settled(ear)
    for phrase in PHRASES:
        room.say(say(phrase), after_s=0.8)
    verdicts = listen(ear, room, 8.0)
    assert outcomes(verdicts) == [("accept", phrase, "") for phrase in PHRASES]
    for verdict in verdicts:
        assert verdict.engine.startswith("pocketsphinx")
        assert verdict.utterance.source == "voice"
        assert 0.8 < len(verdict.utterance.pcm) / 2 / SAMPLE_RATE < 2.5


def test_what_is_no_phrase_at_all_is_refused(judge: PlainJudge) -> None:
    """An utterance of which the engine makes nothing has its reason."""
    assert outcomes([judge(Utterance())]) == [("refuse", "", "no-phrase")]


def test_nothing_is_heard_from_the_start_of_a_prompt_to_the_end_of_the_tail(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """A phrase during the prompt, and one in the tail, is not heard; the next one is."""
    ear = Ear(judge, tail_ms=350)
    room = settled(ear)
    ear.prompt_started()
    assert ear.shut
    room.say(say(PHRASES[0]))
    assert listen(ear, room, 3.0) == []
    ear.prompt_ended()
    assert ear.shut
    assert listen(ear, room, 0.35) == []
    assert not ear.shut
    room.say(say(PHRASES[1]))
    assert outcomes(listen(ear, room, 3.0)) == [("accept", PHRASES[1], "")]


def test_the_tail_is_a_setting(judge: PlainJudge) -> None:
    """Counted in sound, not in time."""
    ear = Ear(judge, tail_ms=100)
    room = settled(ear)
    ear.prompt_started()
    ear.prompt_ended()
    listen(ear, room, 0.05)
    assert ear.shut
    listen(ear, room, 0.05)
    assert not ear.shut


def test_a_second_report_of_the_end_does_not_prolong_the_tail(judge: PlainJudge) -> None:
    """Only the end of a prompt that was running counts."""
    ear = Ear(judge)
    room = settled(ear)
    ear.prompt_ended()
    assert not ear.shut
    ear.prompt_started()
    ear.prompt_ended()
    listen(ear, room, 0.3)
    ear.prompt_ended()
    listen(ear, room, 0.05)
    assert not ear.shut


def test_a_prompt_drops_the_utterance_it_cuts_into(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """Half a phrase before a prompt and half behind it are no phrase."""
    ear = Ear(judge, tail_ms=0)
    room = settled(ear)
    room.say(say(PHRASES[0]))
    assert listen(ear, room, 0.4) == []
    ear.prompt_started()
    ear.prompt_ended()
    room.hush()
    assert listen(ear, room, 1.0) == []


def test_during_a_prompt_only_the_strict_judge_is_asked(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """With a second judge the ear listens on, and whatever overlaps the prompt goes to it."""
    strict = PocketSphinxRecogniser()
    strict.prepare(["stop sampling now"])
    asked: list[Utterance] = []

    def strict_judge(utterance: Utterance) -> Verdict:
        asked.append(utterance)
        return PlainJudge(strict)(utterance)

    ear = Ear(judge, while_speaking=strict_judge)
    room = settled(ear)
    ear.prompt_started()
    room.say(say("stop sampling now"))
    assert outcomes(listen(ear, room, 3.0)) == [("accept", "stop sampling now", "")]
    assert len(asked) == 1
    room.say(say("bottom port open"))
    listen(ear, room, 0.3)
    ear.prompt_ended()
    listen(ear, room, 3.0)
    assert len(asked) == 2
    room.say(say("bottom port open"))
    assert outcomes(listen(ear, room, 3.0)) == [("accept", "bottom port open", "")]
    assert len(asked) == 2


def test_an_utterance_with_a_gap_is_refused(judge: PlainJudge, say: Callable[[str], bytes]) -> None:
    """Lost samples inside an utterance make it unusable, lost samples before it do not."""
    ear = Ear(judge)
    room = settled(ear)
    ear.sound_lost()
    listen(ear, room, 1.0)
    room.say(say(PHRASES[0]))
    verdicts = listen(ear, room, 0.5)
    ear.sound_lost()
    verdicts += listen(ear, room, 2.5)
    assert outcomes(verdicts) == [("refuse", "", "overflow")]
    room.say(say(PHRASES[0]))
    assert outcomes(listen(ear, room, 3.0)) == [("accept", PHRASES[0], "")]


def test_too_short_and_too_long_are_refused_unheard(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """The reason and the length stand in the verdict; no recogniser was asked."""
    ear = Ear(judge, endpointer=Endpointer(EndpointSettings(maximum_ms=700)))
    room = settled(ear)
    room.say(say("stop")[:5000])
    (short,) = listen(ear, room, 1.5)
    room.say(say("bottom set filled and bottom port open"))
    (long,) = listen(ear, room, 4.0)
    assert outcomes([short, long]) == [("refuse", "", "too-short"), ("refuse", "", "too-long")]
    assert 100 <= int(short.scores["duration-ms"]) < 250
    assert int(long.scores["duration-ms"]) > 600
    assert short.engine == "endpointer"


def test_the_end_of_the_stream_decides_on_the_last_phrase(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """A file that ends with its last word is heard whole."""
    ear = Ear(judge)
    room = settled(ear)
    pcm = say(PHRASES[1])
    room.say(pcm)
    assert listen(ear, room, len(pcm) / 32000) == []
    assert outcomes(ear.finish()) == [("accept", PHRASES[1], "")]
    assert ear.finish() == []


def test_a_clip_keeps_everything_up_to_its_limit(judge: PlainJudge) -> None:
    """The clip is the sound itself, prompts included, cut at its limit."""
    ear = Ear(judge)
    room = settled(ear)
    assert ear.stop_clip() == b""
    ear.start_clip(0.12)
    ear.prompt_started()
    blocks = [room.next_block() for _ in range(4)]
    for block in blocks:
        ear.feed(block)
    clip = ear.stop_clip()
    assert clip == b"".join(blocks)[: 2 * SAMPLE_RATE * 12 // 100]
    ear.start_clip(10)
    ear.feed(blocks[0])
    assert ear.stop_clip() == blocks[0]


def test_levels_of_the_room_are_shown(judge: PlainJudge) -> None:
    """Level and floor follow what was fed; a changed microphone starts them anew."""
    ear = Ear(judge)
    room = settled(ear)
    assert ear.level_dbfs == pytest.approx(-51, abs=1.5)
    assert ear.floor_dbfs == pytest.approx(-51, abs=1.5)
    ear.microphone_changed()
    louder = Loopback(snr_db=5, seed=1)
    assert listen(ear, louder, 2.0) == []
    assert ear.floor_dbfs == pytest.approx(-31, abs=1.5)
    assert room.samples == SAMPLE_RATE


def test_an_utterance_is_announced_before_it_is_decided(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """What is announced last before a verdict is what the verdict is about."""
    announced: list[Utterance] = []
    ear = Ear(judge, expect=announced.append)
    room = settled(ear)
    assert announced == []
    room.say(say(PHRASES[0]))
    verdicts = listen(ear, room, 3.0)
    assert outcomes(verdicts) == [("accept", PHRASES[0], "")]
    assert announced[-1] == verdicts[0].utterance


def test_what_a_prompt_or_a_gap_spoils_is_not_announced(
    judge: PlainJudge, say: Callable[[str], bytes]
) -> None:
    """It is for the strict judge, or for none."""
    announced: list[Utterance] = []
    ear = Ear(judge, while_speaking=judge, expect=announced.append)
    room = settled(ear)
    ear.prompt_started()
    room.say(say(PHRASES[0]))
    assert len(listen(ear, room, 3.0)) == 1
    assert announced == []
    ear.prompt_ended()
    listen(ear, room, 1.0)
    room.say(say(PHRASES[1]))
    listen(ear, room, 0.5)
    ear.sound_lost()
    assert [verdict.reason for verdict in listen(ear, room, 3.0)] == ["overflow"]
    assert announced == []


def test_faint_voices_can_be_ignored(judge: PlainJudge, say: Callable[[str], bytes]) -> None:
    """Once the operator's level is known, what is 15 dB below it is no speech, numbers or not."""
    ear = Ear(judge)
    room = settled(ear)
    room.say(say(PHRASES[0]))
    first = [heard for _ in range(60) for heard in ear.listen(room.next_block())]
    level = first[0].segment.level_dbfs
    ear.ignore_below(level - 15.0)
    ear.allow_numbers(wanted=True)
    room.say(say(PHRASES[1]), gain_db=-24.0)
    assert listen(ear, room, 3.0) == []
    room.say(say(PHRASES[1]))
    assert outcomes(listen(ear, room, 3.0)) == [("accept", PHRASES[1], "")]
