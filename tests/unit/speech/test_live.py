"""The ear in its own thread, fed from a queue or a file, with the real embedded recogniser."""

import queue
from pathlib import Path

import pytest
import soundfile

from assistant.errors import InputError
from assistant.ports import SAMPLE_RATE, Verdict
from assistant.speech.ear import Ear, PlainJudge
from assistant.speech.live import Clip, EarReport, FilePlayer, LiveEar
from assistant.speech.loopback import Loopback
from assistant.speech.pcm import samples_of
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser
from assistant.speech.resample import resampled
from assistant.speech.signals import (
    AudioLost,
    MicrophoneBack,
    MicrophoneLost,
    SoundBlock,
    SoundEnded,
)
from assistant.speech.voice import Voice

PHRASES = ("bottom port open", "bottom set filled")


@pytest.fixture
def ear() -> Ear:
    """An ear with the real recogniser."""
    recogniser = PocketSphinxRecogniser()
    recogniser.prepare(PHRASES)
    return Ear(PlainJudge(recogniser))


def recording(room: Loopback, *phrases: str, lead_s: float = 1.0) -> list[bytes]:
    """Return blocks of a room in which the phrases are said."""
    for phrase in phrases:
        room.say(Voice().render(phrase), after_s=lead_s)
    blocks = []
    while room.speaking:
        blocks.append(room.next_block())
    return blocks + [room.next_block() for _ in range(12)]


def test_sound_prompts_and_signals_are_handled_in_order(ear: Ear) -> None:
    """Everything goes through one queue: two phrases, of which a prompt covers the second."""
    reports: queue.SimpleQueue[EarReport] = queue.SimpleQueue()
    live = LiveEar(ear, reports.put)
    room = Loopback(snr_db=25, seed=1)
    first = recording(room, PHRASES[0])
    second = recording(room, PHRASES[1])
    for block in first:
        live.queue.put(SoundBlock(block, 0))
    live.prompt_started()
    live.start_clip(1.0)
    for block in second:
        live.queue.put(SoundBlock(block, 0))
    live.stop_clip()
    live.prompt_ended()
    signals = [AudioLost(50), MicrophoneLost("gone"), MicrophoneBack("here"), SoundEnded()]
    for signal in signals:
        live.queue.put(signal)
    assert live.queue.backlog() > len(first)
    live.start()
    told = [reports.get(timeout=20) for _ in range(6)]
    live.close()
    verdict, clip, *rest = told
    assert isinstance(verdict, Verdict)
    assert (verdict.decision, verdict.text) == ("accept", PHRASES[0])
    assert clip == Clip(b"".join(second)[: 2 * SAMPLE_RATE])
    assert rest == signals
    assert live.level_dbfs == pytest.approx(-51, abs=2)
    assert live.floor_dbfs == pytest.approx(-51, abs=2)


def test_a_gap_in_the_sound_spoils_the_utterance_around_it(ear: Ear) -> None:
    """The gap is delivered at once, the refusal when the utterance ends."""
    reports: queue.SimpleQueue[EarReport] = queue.SimpleQueue()
    live = LiveEar(ear, reports.put)
    live.start()
    blocks = recording(Loopback(snr_db=25, seed=1), PHRASES[0])
    for number, block in enumerate(blocks):
        if number == 28:
            live.queue.put(AudioLost(0))
        live.queue.put(SoundBlock(block, 0))
    assert reports.get(timeout=20) == AudioLost(0)
    verdict = reports.get(timeout=20)
    live.close()
    assert isinstance(verdict, Verdict)
    assert (verdict.decision, verdict.reason) == ("refuse", "overflow")


def test_sound_of_another_rate_is_heard(ear: Ear) -> None:
    """A device at 48 kHz is listened to like any other."""
    reports: queue.SimpleQueue[EarReport] = queue.SimpleQueue()
    live = LiveEar(ear, reports.put)
    sound = b"".join(recording(Loopback(snr_db=25, seed=1), PHRASES[1]))
    fast = resampled(sound, SAMPLE_RATE, 48000)
    for start in range(0, len(fast), 4800):
        live.queue.put(SoundBlock(fast[start : start + 4800], 0, 48000))
    live.queue.put(SoundEnded())
    live.start()
    verdict = reports.get(timeout=20)
    live.close()
    assert isinstance(verdict, Verdict)
    assert verdict.text == PHRASES[1]


def test_a_file_is_heard_like_a_microphone(ear: Ear, tmp_path: Path) -> None:
    """The phrases of the file, then its end; its name goes on record."""
    sound = b"".join(recording(Loopback(snr_db=25, seed=1), *PHRASES))
    path = tmp_path / "session.flac"
    soundfile.write(path, samples_of(sound), SAMPLE_RATE)
    reports: queue.SimpleQueue[EarReport] = queue.SimpleQueue()
    live = LiveEar(ear, reports.put)
    player = FilePlayer(path, live.queue.put, paced=False)
    assert player.name == "file session.flac"
    live.start()
    player.start()
    told = [reports.get(timeout=20) for _ in range(3)]
    player.close()
    live.close()
    assert [report.text for report in told if isinstance(report, Verdict)] == list(PHRASES)
    assert told[-1] == SoundEnded()


def test_a_paced_file_takes_its_time_and_can_be_stopped(tmp_path: Path) -> None:
    """One block every 50 ms: after 10 blocks at least 0.45 s have passed; closing ends it."""
    path = tmp_path / "a.wav"
    soundfile.write(path, samples_of(bytes(16000 * 2 * 60)), SAMPLE_RATE)
    items: queue.SimpleQueue[object] = queue.SimpleQueue()
    player = FilePlayer(path, items.put)
    player.start()
    first = items.get(timeout=5)
    for _ in range(8):
        items.get(timeout=5)
    tenth = items.get(timeout=5)
    player.close()
    assert isinstance(first, SoundBlock)
    assert isinstance(tenth, SoundBlock)
    assert tenth.mono_ns - first.mono_ns >= 0.4e9
    while not items.empty():
        assert items.get() != SoundEnded()


def test_a_file_that_cannot_be_used_is_refused_before_anything_plays(tmp_path: Path) -> None:
    """The error comes from making the player."""
    with pytest.raises(InputError, match="no such file"):
        FilePlayer(tmp_path / "none.wav", print)


def test_an_item_of_another_kind_is_a_mistake_of_the_program(ear: Ear) -> None:
    """It is not passed over in silence."""
    live = LiveEar(ear, print)
    with pytest.raises(TypeError, match="nothing that an ear can take"):
        live._handle("sound")  # noqa: SLF001 - the thread would swallow the error of its queue
