"""The live session: microphone, loudspeaker and keyboard, joined by one queue."""

import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from assistant.clock import ManualClock, SystemClock
from assistant.errors import InputError, RecordError
from assistant.grammar.language import Language
from assistant.journal.entry import Entry
from assistant.plan import Plan, parse_plan
from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Clock, Speaker, Utterance
from assistant.procedure.events import AudioLost, DeviceBack, DeviceLost, Event, Opened, Resumed
from assistant.procedure.model import Session
from assistant.procedure.vocabulary import END, Prompt
from assistant.replay import fold
from assistant.session.assemble import SessionJudge, fingerprint, software
from assistant.session.conductor import Conductor, Observer, Parts
from assistant.session.keeper import Keeper
from assistant.session.watch import ClockWatch, NoiseWatch
from assistant.speech import signals
from assistant.speech.ear import Ear
from assistant.speech.soundqueue import SoundQueue
from assistant.storage.record import RecordFolder

TICK_S = 0.05
BLOCK_NS = BLOCK_SAMPLES * 1_000_000_000 // SAMPLE_RATE


@dataclass(frozen=True, slots=True)
class SpeakerLost:
    """The loudspeaker went away, in one sentence."""

    reason: str


Tick = Callable[["LiveSession"], None]


@dataclass(frozen=True, slots=True)
class Setting:
    """What a live session is started with."""

    language: Language
    judge: SessionJudge
    speaker: Speaker
    microphone: str
    """Its name, as it goes on record."""
    operator: str = ""
    headset: bool = False
    observers: tuple[Observer, ...] = ()
    on_tick: Tick = field(default=lambda _live: None)
    noise_floor_dbfs: float | None = None
    first: tuple[Event, ...] = ()
    """Events to take right after the opening, such as the sound check."""


class LiveSession:
    """One sitting: from the opening, or from where the record stopped, to its end."""

    def __init__(
        self,
        folder: RecordFolder,
        setting: Setting,
        queue: SoundQueue,
        clock: Clock | None = None,
    ) -> None:
        """Take a record's folder over; its lines are verified and folded.

        Args:
            folder: of the record, opened for writing.
            setting: language, devices and people.
            queue: everything that comes in, but for timers.
            clock: the system's clocks if not given.

        Raises:
            RecordBroken: the record does not hold.
            RecordError: the record is closed already.
        """
        self._folder = folder
        self._setting = setting
        self.clock: Clock = clock or SystemClock()
        self._queue = queue
        self.language = setting.language
        self.plan = parse_plan(folder.plan, str(folder.path / "plan.toml"))
        session, last = fold(folder.lines(), self.plan, setting.language)
        if session.state in END:
            raise RecordError(f"The record in {folder.path} is closed; begin one in a new folder.")
        keeper = Keeper(
            folder,
            self.clock,
            setting.language,
            last=last,
            trouble=self._trouble,
            wait=time.sleep,
        )
        judge = setting.judge
        self.ear = Ear(judge.judge, while_speaking=judge.judge if setting.headset else None)
        parts = Parts(
            language=setting.language,
            judge=judge,
            ear=self.ear,
            speaker=setting.speaker,
            clock=self.clock,
            keeper=keeper,
            clips=folder,
            observers=setting.observers,
        )
        self.conductor = Conductor(session, parts)
        self._first = self._opening(last)
        self._clock_watch = ClockWatch()
        self._noise_watch = NoiseWatch(setting.noise_floor_dbfs)

    def run(self, blocks: Iterable[bytes] | None = None) -> Session:
        """Work until the record is closed.

        Args:
            blocks: sound from a file, taken at its own pace; None to listen to the queue. When it
                runs out the session stays open and can be resumed.
        """
        for event in (*self._first, *self._setting.first):
            self.conductor.take(event)
        source: Iterator[bytes] | None = iter(blocks) if blocks is not None else None
        while not self.conductor.ended:
            if source is None:
                item = self._queue.get(TICK_S)
                if isinstance(item, signals.SoundEnded):
                    break
                self._tick(item)
            elif (block := next(source, None)) is not None:
                self.conductor.tick(block)
                if isinstance(self.clock, ManualClock):
                    self.clock.advance(BLOCK_NS)
            else:
                break
            self._setting.on_tick(self)
        return self.conductor.session

    @property
    def level_dbfs(self) -> float:
        """Level of the last block listened to, in dB relative to full scale."""
        return self.ear.level_dbfs

    def _opening(self, last: Entry | None) -> tuple[Event, ...]:
        setting = self._setting
        if last is not None:
            torn = self._folder.torn
            resumed = Resumed(
                software=software(),
                engine=setting.judge.name,
                microphone=setting.microphone,
                speaker=setting.speaker.name,
                torn_bytes=len(torn.data) if torn else 0,
                torn_sha256=torn.sha256 if torn else "",
            )
            return (resumed,)
        opened = Opened(
            software=software(),
            plan_sha256=fingerprint(self._folder.plan),
            grammar_sha256=fingerprint(self._folder.grammar),
            operator=_operator(self.plan, setting.operator),
            engine=setting.judge.name,
            microphone=setting.microphone,
            speaker=setting.speaker.name,
        )
        return (opened,)

    def _tick(self, item: object) -> None:
        """Work in one item of the queue, or the passing of time."""
        now = self.clock.now()
        notices: list[Event | None] = [self._clock_watch.look(now)]
        match item:
            case signals.SoundBlock():
                notices.append(self._noise_watch.look(self.ear.floor_dbfs, now))
                self.conductor.tick(item.pcm, notices=[n for n in notices if n])
                return
            case Utterance():
                self.conductor.tick(None, typed=[item])
            case signals.AudioLost():
                self.ear.sound_lost()
                notices.append(AudioLost(milliseconds=item.milliseconds))
            case signals.MicrophoneLost():
                notices.append(DeviceLost(device="microphone", reason=item.reason))
            case signals.MicrophoneBack():
                notices.append(DeviceBack(device="microphone", name=item.name))
            case SpeakerLost():
                notices.append(DeviceLost(device="speaker", reason=item.reason))
            case _:
                pass
        self.conductor.tick(None, notices=[n for n in notices if n])

    def _trouble(self, reason: str) -> None:
        for observer in self._setting.observers:
            observer.trouble(reason)
        words = self._setting.language.prompts[Prompt.STORAGE_FAILED]
        self._setting.speaker.say(words, lambda: None)


def _operator(plan: Plan, wanted: str) -> str:
    names = [person.name for person in plan.people if person.role == "operator"]
    if not wanted:
        return names[0]
    if wanted not in names:
        raise InputError(f"The plan names no operator {wanted!r}; it names {', '.join(names)}.")
    return wanted
