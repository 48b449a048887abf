"""A live session takes sound, keys and reports of devices in their order and loses none."""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from assistant.clock import ManualClock
from assistant.conformance import retell
from assistant.grammar.language import Language, parse_grammar
from assistant.plan import parse_plan
from assistant.ports import PhraseEngine, Tone, Utterance
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import (
    AudioLost,
    DeviceBack,
    DeviceLost,
    Event,
    Heard,
    Opened,
    SoundChecked,
)
from assistant.session.engine_factory import open_engine
from assistant.session.live import LiveSession, Setting
from assistant.session.sound_check import BELOW_OPERATOR_DB, Delays
from assistant.speech import audio_events
from assistant.speech.audio_events import SoundQueue
from assistant.speech.loudspeaker import TextOnlySpeaker
from assistant.speech.resample import resampled
from assistant.speech.simulated_room import SimulatedRoom
from assistant.speech.tts import Voice
from assistant.storage import bundled_files
from assistant.storage.record_writer import RecordFolder

GRAMMAR = bundled_files.read_grammar("en")
PLAN = b"[[locations]]".join(bundled_files.read_plan("double-cone").split(b"[[locations]]")[:3])
NAME = TextOnlySpeaker().name


@pytest.fixture(scope="module")
def english() -> Language:
    """Return the shipped grammar."""
    return parse_grammar(GRAMMAR, "en")


@pytest.fixture(scope="module")
def judge(english: Language) -> PhraseEngine:
    """The embedded recogniser, loaded once."""
    return open_engine(english, "embedded")


class Room(SoundQueue):
    """Delivers what was put; else, while it may sound, the next block of a room."""

    def __init__(self, rate: int = 16_000) -> None:
        """Be a quiet room."""
        super().__init__()
        self.room = SimulatedRoom(snr_db=25, seed=2)
        self.voice = Voice("en-us+f3", rate=150)
        self.sounds = True
        self.spoke_at = 0
        self._rate = rate

    def get(self, timeout: float) -> audio_events.QueueItem | None:
        """Return the next item without waiting."""
        if self.backlog() or not self.sounds:
            return super().get(timeout)
        pcm = resampled(self.room.next_block(), 16_000, self._rate)
        return audio_events.SoundBlock(pcm, 0, self._rate)

    def answer(self, words: str) -> None:
        """Say what the sound check asks for."""
        if words.startswith("Now say: "):
            self.room.say(self.voice.render(words[9:-1]), after_s=0.6)


def setting(language: Language, judge: PhraseEngine, room: Room, *, listens: bool) -> Setting:
    """Return a setting with prompts as text."""
    return Setting(
        language,
        judge,
        TextOnlySpeaker(),
        "room",
        listens=listens,
        delays=lambda: Delays(61.0, 40.04),
        shown=room.answer,
        on_tick=lambda live: _end_when_quiet(live, room),
    )


def _end_when_quiet(live: LiveSession, room: Room) -> None:
    """End the sound once nothing has been said for a second and a half."""
    if room.room.speaking:
        room.spoke_at = live.pipeline.position
    if live.pipeline.position > room.spoke_at + 24_000:
        room.put(audio_events.SoundEnded())


def events(path: Path, language: Language) -> list[Event]:
    """Return the events on record, proved."""
    with RecordFolder.open(path) as folder:
        plan = parse_plan(folder.plan, "plan")
        return [told.event for told in retell(folder.lines(), plan, language)]


def test_reports_during_the_sound_check_come_on_record_behind_it(
    tmp_path: Path, english: Language, judge: PhraseEngine
) -> None:
    """Lost sound and a lost loudspeaker are told after the opening; delays and level are used."""
    room = Room()
    for item in (audio_events.SpeakerLost("It is unplugged."), audio_events.AudioLost(150)):
        room.put(item)
    with RecordFolder.create(tmp_path / "r", PLAN, GRAMMAR) as folder:
        live = LiveSession(folder, setting(english, judge, room, listens=True), room)
        live.run()
    found = events(tmp_path / "r", english)
    assert isinstance(found[0], Opened)
    assert found[0].kind == "live", "its clock is the machine's"
    checked = found[1]
    assert isinstance(checked, SoundChecked)
    assert (checked.microphone_ms, checked.speaker_ms) == ("61.0", "40.0")
    assert found[2:4] == [
        DeviceLost(device="speaker", reason="It is unplugged."),
        AudioLost(milliseconds=150),
    ]
    least = live.pipeline.least_dbfs
    assert least == pytest.approx(float(checked.speech_dbfs) - BELOW_OPERATOR_DB, abs=0.06)


def test_a_loudspeaker_that_returns_under_its_name_is_back(
    tmp_path: Path, english: Language, judge: PhraseEngine
) -> None:
    """Lost and back are one pair on record; back without lost is nothing."""
    room = Room()
    for item in (
        audio_events.SpeakerBack(NAME),
        audio_events.SpeakerLost("It is unplugged."),
        audio_events.SpeakerBack(NAME),
        audio_events.SpeakerBack(NAME),
    ):
        room.put(item)
    with RecordFolder.create(tmp_path / "r", PLAN, GRAMMAR) as folder:
        LiveSession(folder, setting(english, judge, room, listens=False), room).run()
    told = [e for e in events(tmp_path / "r", english) if isinstance(e, DeviceLost | DeviceBack)]
    assert told == [
        DeviceLost(device="speaker", reason="It is unplugged."),
        DeviceBack(device="speaker", name=NAME),
    ]


@pytest.mark.parametrize("rate", [16_000, 48_000])
def test_a_phrase_is_heard_at_whatever_rate_the_device_offers(
    tmp_path: Path, english: Language, judge: PhraseEngine, rate: int
) -> None:
    """Spoken into the live session, judged ahead, and put on record with its clip."""
    room = Room(rate)
    room.room.say(room.voice.render("say again"), after_s=1.0)
    with RecordFolder.create(tmp_path / "r", PLAN, GRAMMAR) as folder:
        LiveSession(folder, setting(english, judge, room, listens=False), room).run()
    (heard,) = [e for e in events(tmp_path / "r", english) if isinstance(e, Heard)]
    assert heard.source == "voice"
    assert heard.text == "say again"
    assert heard.clip


def test_the_key_confirms_while_the_microphone_is_lost(
    tmp_path: Path, english: Language, judge: PhraseEngine
) -> None:
    """The foot switch needs no sound: what it confirms is on record as the key's, and advances."""
    room = Room()
    room.sounds = False
    room.put(audio_events.MicrophoneLost("It is unplugged."))
    for _ in range(4):
        room.put(Utterance(source="key"))
    room.put(audio_events.MicrophoneBack("room"))
    room.put(audio_events.SoundEnded())
    clock = ManualClock()
    given = replace(
        setting(english, judge, room, listens=False),
        on_tick=lambda _live: clock.advance(1_100_000_000),
    )
    with RecordFolder.create(tmp_path / "r", PLAN, GRAMMAR) as folder:
        session = LiveSession(folder, given, room, clock).run()
    found = events(tmp_path / "r", english)
    lost = found.index(DeviceLost(device="microphone", reason="It is unplugged."))
    keys = [e for e in found[lost:] if isinstance(e, Heard)]
    assert [(e.source, e.decision) for e in keys] == [("key", "accept")] * 4
    assert len({e.text for e in keys}) == 4
    assert all(e.clip == "" for e in keys)
    assert found[-1] == DeviceBack(device="microphone", name="room")
    assert [d.detail for d in session.deviations] == ["microphone"]


class Noting:
    """Passes everything on to a judge and notes the thresholds."""

    def __init__(self, judge: PhraseEngine, asked: list[float]) -> None:
        """Note into a list."""
        self.name, self.prepare, self.judge = judge.name, judge.prepare, judge.judge
        self.facts = judge.facts
        self.tighten = asked.append


def test_noise_that_rose_for_good_makes_the_hearing_stricter(
    tmp_path: Path, english: Language, judge: PhraseEngine
) -> None:
    """From a ratio of 25 dB a rise of 18 dB leaves 7 dB: 5 dB under what is workable."""
    room = Room()
    asked: list[float] = []

    noise = np.random.default_rng(2)

    class Rising(Room):
        """Becomes loud once the check is over."""

        loud = False

        def get(self, timeout: float) -> audio_events.QueueItem | None:
            item = room.get(timeout)
            if self.loud and isinstance(item, audio_events.SoundBlock):
                extra = noise.normal(0, 900, 800).astype("<i2").tobytes()
                return audio_events.SoundBlock(extra, 0)
            return item

    rising = Rising()

    clock = ManualClock()

    def on_tick(live: LiveSession) -> None:
        rising.loud = True
        clock.advance(50_000_000)
        if len(asked) > 1 or live.pipeline.position > 16_000 * 60:
            room.put(audio_events.SoundEnded())

    with RecordFolder.create(tmp_path / "r", PLAN, GRAMMAR) as folder:
        given = Setting(
            english,
            Noting(judge, asked),
            TextOnlySpeaker(),
            "room",
            shown=room.answer,
            on_tick=on_tick,
        )
        LiveSession(folder, given, rising, clock).run()
    assert asked[0] == 0.0
    assert asked[1] > 0.0


class Slow:
    """A loudspeaker that is still speaking unless it is silenced."""

    name = "slow"

    def __init__(self) -> None:
        """Be silent."""
        self.said: list[str] = []
        self.cut = 0
        self._done: Callable[[], None] | None = None

    def say(self, text: str, done: Callable[[], None], tone: Tone | None = None) -> None:
        """Begin a sentence, dropping the one before."""
        del tone
        before, self._done = self._done, done
        self.said.append(text)
        if before is not None:
            before()

    def silence(self) -> None:
        """Stop, and say so."""
        done, self._done = self._done, None
        if done is not None:
            self.cut += 1
            done()


@pytest.mark.parametrize(
    ("headset", "words", "heard"),
    [
        (False, "stand by", True),
        (False, "where are we", False),
        (True, "stand by", True),
        (True, "where are we", True),
    ],
)
def test_what_may_be_said_over_a_prompt(
    tmp_path: Path,
    english: Language,
    judge: PhraseEngine,
    *,
    headset: bool,
    words: str,
    heard: bool,
) -> None:
    """With a headset every legal phrase stops the prompt; with a loudspeaker two phrases do."""
    room, speaker = Room(), Slow()
    room.room.say(room.voice.render(words), after_s=1.0)
    given = replace(setting(english, judge, room, listens=False), speaker=speaker, headset=headset)
    with RecordFolder.create(tmp_path / "r", PLAN, GRAMMAR) as folder:
        LiveSession(folder, given, room).run()
    found = [e for e in events(tmp_path / "r", english) if isinstance(e, Heard)]
    expected = [("voice", "accept", words)] if heard else []
    assert [(e.source, e.decision, e.text) for e in found] == expected
    assert speaker.cut == int(heard)
    assert len(speaker.said) == 1 + int(heard)


def test_the_key_confirms_while_a_prompt_is_spoken(
    tmp_path: Path, english: Language, judge: PhraseEngine
) -> None:
    """Whoever knows the next step need not wait for the end of the sentence."""
    room, speaker, clock = Room(), Slow(), ManualClock()
    room.sounds = False
    for line in ("vessel is isolated", "sampler is earthed", "protection is worn"):
        room.put(Utterance(typed=line, source="text"))
    room.put(Utterance(source="key"))
    room.put(audio_events.SoundEnded())
    given = replace(
        setting(english, judge, room, listens=False),
        speaker=speaker,
        on_tick=lambda _live: clock.advance(1_100_000_000),
    )
    with RecordFolder.create(tmp_path / "r", PLAN, GRAMMAR) as folder:
        session = LiveSession(folder, given, room, clock).run()
    key = [e for e in events(tmp_path / "r", english) if isinstance(e, Heard)][-1]
    assert (key.source, key.decision) == ("key", "accept")
    assert session.state is State.POSITIONING
    assert len(speaker.said) == 5


def test_the_key_affirms_what_is_read_back(
    tmp_path: Path, english: Language, judge: PhraseEngine
) -> None:
    """In a read-back the normal answer is that it was heard right; it is on record as the key's."""
    room = Room()
    room.sounds = False
    for item in (
        Utterance(typed="stop sampling now", source="text"),
        Utterance(source="key"),
        audio_events.SoundEnded(),
    ):
        room.put(item)
    clock = ManualClock()
    given = replace(
        setting(english, judge, room, listens=False),
        on_tick=lambda _live: clock.advance(1_100_000_000),
    )
    with RecordFolder.create(tmp_path / "r", PLAN, GRAMMAR) as folder:
        session = LiveSession(folder, given, room, clock).run()
    told = [e for e in events(tmp_path / "r", english) if isinstance(e, Heard)]
    assert [(e.source, e.text) for e in told] == [
        ("text", "stop sampling now"),
        ("key", english.phrases[Intent.AFFIRM]),
    ]
    assert session.state is State.STOPPED
