"""The live session: microphone, loudspeaker and keyboard, connected by one queue."""

import math
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass, field
from typing import Literal, assert_never

from assistant.clock import ManualClock, SystemClock
from assistant.conformance import follow, proved
from assistant.errors import InputError, RecordError
from assistant.grammar.language import Language
from assistant.journal.entry import Entry
from assistant.plan import Plan, parse_plan
from assistant.ports import (
    BLOCK_SAMPLES,
    SAMPLE_RATE,
    Clock,
    Instant,
    PhraseEngine,
    Speaker,
    Utterance,
)
from assistant.procedure.enums import END, Prompt
from assistant.procedure.events import (
    AudioLost,
    DeviceBack,
    DeviceLost,
    Event,
    Opened,
    Resumed,
)
from assistant.procedure.model import Session, begin
from assistant.record import fingerprint, software
from assistant.record.opening import with_own_files
from assistant.session.journal_writer import JournalWriter
from assistant.session.monitors import ClockWatch, NoiseWatch, clock_behind, clock_moved
from assistant.session.session_loop import Observer, Parts, SessionLoop
from assistant.session.sound_check import (
    Delays,
    SoundCheck,
    spoken_for_check,
    stricter,
    with_delays,
)
from assistant.session.station import Station, identity, machine_boot, this_station
from assistant.speech import audio_events
from assistant.speech.audio_events import DeviceReport, QueueItem, SoundQueue
from assistant.speech.barge_in import BargeIn
from assistant.speech.detectors import detector_for, working_ahead
from assistant.speech.early_judgement import EarlyJudgement
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.speech.resample import ProgramRate
from assistant.storage.record_writer import RecordFolder

TICK_S = 0.05
BLOCK_NS = BLOCK_SAMPLES * 1_000_000_000 // SAMPLE_RATE


Device = Literal["microphone", "speaker"]
Tick = Callable[["LiveSession"], None]


@dataclass(frozen=True, slots=True)
class Setting:
    """Configuration of a live session."""

    language: Language
    engine: PhraseEngine
    speaker: Speaker
    microphone: str
    """Its name, as it goes on record."""
    listens: bool = True
    """Whether there is a microphone, so that a sound check is possible."""
    operator: str = ""
    clock_affirmed: Literal["", "yes", "not asked"] = ""
    """Whether date, time, zone and synchronisation were affirmed at the terminal."""
    stamp_authority: str = ""
    """Address of the time-stamping authority that is asked, "" for none."""
    profile_sha256: str = ""
    """Hash of the voice profile used by the engine, "" without one."""
    headset: bool = False
    observers: tuple[Observer, ...] = ()
    on_tick: Tick = field(default=lambda _live: None)
    delays: Callable[[], Delays] = Delays
    shown: Callable[[str], None] = lambda _words: None
    """Called with sentences spoken before the session starts."""


class LiveSession:
    """A session from its opening, or from the end of the record, until it is closed."""

    def __init__(
        self,
        folder: RecordFolder,
        setting: Setting,
        queue: SoundQueue,
        clock: Clock | None = None,
    ) -> None:
        """Open a record's folder; its lines are verified and folded.

        Args:
            folder: folder of the record, opened for writing.
            setting: language, devices and people.
            queue: all input except timers.
            clock: by default the system's clocks.

        Raises:
            RecordBroken: the record is not intact.
            RecordError: the record is closed already.
        """
        self._folder = folder
        self._setting = setting
        self.clock: Clock = clock or SystemClock()
        self._queue = queue
        self.language = setting.language
        self._machine = ""
        self.plan = parse_plan(folder.plan, str(folder.path / "plan.toml"))
        session, last, noted = self._told()
        if session.state in END:
            raise RecordError(f"The record in {folder.path} is closed; begin one in a new folder.")
        self._engine = working_ahead(setting.engine)
        self.pipeline = ListeningPipeline(
            detector_for(self._engine),
            headset=setting.headset,
            strict=None if setting.headset else BargeIn(self._engine.judge),
        )
        self.loop = SessionLoop(session, self._parts(last))
        self._first = self._opening(last, noted)
        self._names: dict[Device, str] = {
            "microphone": setting.microphone,
            "speaker": setting.speaker.name,
        }
        self._lost: set[str] = set()
        self._late: list[QueueItem] = []
        self._rate = ProgramRate()
        self._snr_db = math.inf
        self._clock_watch = ClockWatch()
        self._noise_watch = NoiseWatch()

    def _parts(self, last: Entry | None) -> Parts:
        setting, words = self._setting, self.language
        trouble, wait = self._trouble, time.sleep
        return Parts(
            language=words,
            engine=self._engine,
            pipeline=self.pipeline,
            speaker=setting.speaker,
            clock=self.clock,
            keeper=JournalWriter(
                self._folder, self.clock, words, last=last, trouble=trouble, wait=wait
            ),
            clips=self._folder,
            observers=setting.observers,
        )

    def run(self, blocks: Iterable[bytes] | None = None) -> Session:
        """Run until the record is closed.

        Args:
            blocks: sound from a file, processed at its own pace; None to use the queue. At the end
                of the file the session stays open and can be resumed.
        """
        try:
            return self._run(blocks)
        finally:
            if isinstance(self._engine, EarlyJudgement):
                self._engine.close()

    def _run(self, blocks: Iterable[bytes] | None) -> Session:
        checked = self._check_sound() if blocks is None and self._setting.listens else ()
        for event in (*self._first, *checked):
            self.loop.take(event)
        for late in self._late:
            self._tick(late)
        source: Iterator[bytes] | None = iter(blocks) if blocks is not None else None
        while not self.loop.ended:
            if source is None:
                item = self._queue.get(TICK_S)
                if isinstance(item, audio_events.SoundEnded):
                    break
                self._tick(item)
            elif (block := next(source, None)) is not None:
                self.loop.tick(block)
                if isinstance(self.clock, ManualClock):
                    self.clock.advance(BLOCK_NS)
            else:
                break
            self._setting.on_tick(self)
        return self.loop.session

    def _check_sound(self) -> tuple[Event, ...]:
        """Check room and operator first; other input waits in the queue.

        Raises:
            DeviceError: the sound ended, or the microphone was lost.
        """
        setting = self._setting
        phrases = spoken_for_check(setting.language, self.loop.session)
        check = SoundCheck(
            setting.language, self._engine, setting.speaker, phrases, setting.shown, again=True
        )
        self._late = check.work(self._queue)
        found = check.result
        self._noise_watch = NoiseWatch(found.noise_dbfs)
        self._snr_db = found.snr_db
        self.pipeline.ignore_below(found.least_dbfs)
        self._engine.tighten(found.stricter)
        return (with_delays(found.event, setting.delays()),)

    @property
    def hears(self) -> bool:
        """Whether there is a microphone and it is not lost."""
        return self._setting.listens and "microphone" not in self._lost

    @property
    def level_dbfs(self) -> float:
        """Level of the last block listened to, in dB relative to full scale."""
        return self.pipeline.level_dbfs

    def _told(self) -> tuple[Session, Entry | None, frozenset[str]]:
        """Verify the record; also return the hashes of the torn tails it names."""
        folder, noted = self._folder, set()
        session, last = begin(self.plan), None
        entries = with_own_files(folder, proved(folder.lines(), self.plan, self.language))
        for told in follow(entries, self.plan, self.language):
            session, last = told.outcome.session, told.entry
            if isinstance(told.event, Opened | Resumed):
                self._machine = told.event.machine_boot
            if isinstance(told.event, Resumed):
                noted.add(told.event.torn_sha256)
        return session, last, frozenset(noted)

    def _opening(self, last: Entry | None, noted: frozenset[str]) -> tuple[Event, ...]:
        """The first events: an opening or a resumption, and every torn line not yet recorded."""
        torn = self._folder.torn
        again = torn.sha256 if torn else ""
        tails = [t for t in self._folder.asides() if t.sha256 not in noted or t.sha256 == again]
        resumed = tuple(self._resumed(len(t.data), t.sha256) for t in tails)
        clock = self._clock_fault(last)
        if last is None:
            return (self._opened(), *resumed, *clock)
        return (*(resumed or (self._resumed(0, ""),)), *clock)

    def _clock_fault(self, last: Entry | None) -> tuple[Event, ...]:
        """A fault of the machine's clock at the start; a simulated clock may have any time."""
        if isinstance(self.clock, ManualClock):
            return ()
        now, fault = self.clock.now(), None
        if last is not None and self._machine and self._machine == machine_boot():
            fault = clock_moved(now, Instant(last.utc, int(last.mono)))
        fault = fault or clock_behind(now, last.utc if last else "")
        return (fault,) if fault else ()

    def _resumed(self, torn_bytes: int, torn_sha256: str) -> Resumed:
        setting = self._setting
        return Resumed(
            software=software(),
            engine=setting.engine.name,
            microphone=setting.microphone,
            speaker=setting.speaker.name,
            torn_bytes=torn_bytes,
            torn_sha256=torn_sha256,
            machine_boot="" if isinstance(self.clock, ManualClock) else machine_boot(),
        )

    def _opened(self) -> Opened:
        setting, rehearsed = self._setting, isinstance(self.clock, ManualClock)
        present: Literal["live", "typed"] = "live" if setting.listens else "typed"
        return Opened(
            software=software(),
            plan_sha256=fingerprint(self._folder.plan),
            grammar_sha256=fingerprint(self._folder.grammar),
            operator=first_operator(self.plan, setting.operator),
            engine=setting.engine.name,
            microphone=setting.microphone,
            speaker=setting.speaker.name,
            profile_sha256=setting.profile_sha256,
            clock_affirmed=setting.clock_affirmed,
            stamp_authority=setting.stamp_authority,
            kind="rehearsal" if rehearsed else present,
            **identity(setting.engine.facts),
            **asdict(Station() if rehearsed else this_station()),
        )

    def _tick(self, item: QueueItem | None) -> None:
        """Process one item of the queue, or the passing of time."""
        now = self.clock.now()
        notices: list[Event | None] = [self._clock_watch.look(now)]
        if self._setting.speaker.name != self._names["speaker"]:
            notices += self._back("speaker", self._setting.speaker.name)
        match item:
            case audio_events.SoundBlock():
                self._sound(item, notices)
                return
            case Utterance():
                self.loop.tick(None, typed=[item])
            case None:
                pass
            case _:
                notices += self._reported(item)
        self.loop.tick(None, notices=[n for n in notices if n])

    def _reported(self, item: DeviceReport) -> list[Event]:
        """Tell what a device reported."""
        match item:
            case audio_events.AudioLost():
                self.pipeline.sound_lost()
                return [AudioLost(milliseconds=item.milliseconds)]
            case audio_events.MicrophoneLost():
                self.pipeline.sound_lost()
                return [self._gone("microphone", item.reason)]
            case audio_events.MicrophoneBack():
                self.pipeline.microphone_changed()
                return self._back("microphone", item.name)
            case audio_events.SpeakerLost():
                return [self._gone("speaker", item.reason)]
            case audio_events.SpeakerBack():
                return self._back("speaker", item.name) if "speaker" in self._lost else []
            case audio_events.SoundEnded():
                return []
            case never:
                assert_never(never)

    def _sound(self, item: audio_events.SoundBlock, notices: list[Event | None]) -> None:
        """Listen; after a lasting rise of the noise, raise the thresholds to match the ratio."""
        rose = self._noise_watch.look(self.pipeline.floor_dbfs, self.clock.now())
        if rose is not None:
            self._engine.tighten(stricter(self._snr_db - float(rose.rise_db)))
        told = [notice for notice in (*notices, rose) if notice]
        for pcm in self._rate.blocks(item):
            self.loop.tick(pcm, notices=told)
            told = []
        if told:
            self.loop.tick(None, notices=told)

    def _gone(self, device: Device, reason: str) -> Event:
        self._lost.add(device)
        return DeviceLost(device=device, reason=reason)

    def _back(self, device: Device, name: str) -> list[Event]:
        """A device works; if it replaces another one, that is a deviation."""
        before, self._names[device] = self._names[device], name
        self._lost.discard(device)
        back: list[Event] = [DeviceBack(device=device, name=name)]
        if name != before:
            back.insert(0, DeviceLost(device=device, reason=f"{name} took the place of {before}"))
        return back

    def _trouble(self, reason: str) -> None:
        for observer in self._setting.observers:
            observer.trouble(reason)
        words = self._setting.language.prompts[Prompt.STORAGE_FAILED]
        self._setting.speaker.say(words, lambda: None)


def first_operator(plan: Plan, wanted: str) -> str:
    """Return who operates first: the one named, or the first in the plan.

    Raises:
        InputError: the plan names no such operator.
    """
    names = [person.name for person in plan.people if person.role == "operator"]
    if not wanted:
        return names[0]
    if wanted not in names:
        raise InputError(f"The plan names no operator {wanted!r}; it names {', '.join(names)}.")
    return wanted
