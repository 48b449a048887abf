"""A whole session in a simulated room: real recogniser, procedure and record, no hardware."""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from assistant.clock import ManualClock
from assistant.errors import RecordError
from assistant.grammar.language import Language, parse_grammar
from assistant.journal.entry import Entry
from assistant.plan import Plan, parse_plan
from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Speaker, Tone, Utterance
from assistant.procedure.events import Event, Heard, Opened, SoundChecked
from assistant.procedure.machine import Outcome
from assistant.procedure.model import Session, begin
from assistant.record import fingerprint, software
from assistant.rehearsal.operator import PATIENCE_S, Operator, OperatorAction
from assistant.rehearsal.script import Script
from assistant.session.engine_factory import EngineChoice, open_engine
from assistant.session.journal_writer import JournalWriter
from assistant.session.pronunciation_check import refuse_alike
from assistant.session.session_loop import Observer, Parts, SessionLoop
from assistant.session.sound_check import SoundCheck, spoken_for_check
from assistant.session.station import identity
from assistant.speech.detectors import detector_for
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.speech.simulated_room import SimulatedRoom
from assistant.speech.tts import Voice
from assistant.storage.record_writer import RecordFolder

BLOCK_NS = BLOCK_SAMPLES * 1_000_000_000 // SAMPLE_RATE

BEGINS: Final = datetime(2026, 1, 5, 8, tzinfo=UTC)
"""Simulated start time of every rehearsal. It is fixed because the spoken head codes depend on the
time of the entries: another start would make the same seed give another session."""

DISK_PATIENCE_S: Final = 5.0
"""How long a rehearsal waits for a disk that cannot be written."""

OPERATOR_VOICES = ("en-us+m3", "en-gb-scotland", "en-us+f3", "en-us+m7")
"""Voices of the simulated operator; the seed chooses one."""


@dataclass(frozen=True, slots=True)
class RehearsalSettings:
    """Settings of a rehearsal."""

    plan: bytes
    plan_name: str
    grammar: bytes
    grammar_name: str
    into: Path
    script: Script = field(default_factory=lambda: Script(title="by the book"))
    seed: int = 1
    snr_db: float = 25.0
    voice: str = ""
    room: bytes = b""
    """Recorded room sound (mono 16-bit), such as talk, instead of noise."""
    real_time: bool = False
    engine: EngineChoice = "phones"
    model: Path | None = None
    """Folder of the Vosk model, if the engine is Vosk."""


@dataclass(frozen=True, slots=True)
class Effort:
    """The operator's effort to be understood."""

    repeated: int
    """Phrases repeated."""
    asked: int
    """Phrases asked back."""
    rescued: int
    """Phrases finally entered by hand."""


class SimulatedSpeaker:
    """A silent speaker: each sentence takes as long as the voice would need."""

    def __init__(self, voice: Voice, clock: ManualClock) -> None:
        """Speak with `voice` on `clock`."""
        self._voice = voice
        self._clock = clock
        self._done: list[tuple[int, Callable[[], None]]] = []

    @property
    def name(self) -> str:
        """Voice and device, as they go on record."""
        return f"{self._voice.name}, simulated"

    def say(self, text: str, done: Callable[[], None], tone: Tone | None = None) -> None:
        """Start the time of a sentence, cutting off the current one."""
        self.silence()
        samples = len(self._voice.render(text, tone)) // 2
        end = self._clock.now().mono_ns + samples * 1_000_000_000 // SAMPLE_RATE
        self._done = [(end, done)]

    def silence(self) -> None:
        """Stop at once."""
        cut, self._done = self._done, []
        for _, done in cut:
            done()

    def tick(self) -> None:
        """End sentences whose time is over."""
        if self._done and self._done[0][0] <= self._clock.now().mono_ns:
            self.silence()


class Rehearsal:
    """The room, the operator in it, and the loop."""

    def __init__(
        self,
        settings: RehearsalSettings,
        observers: Sequence[Observer] = (),
        aloud: Speaker | None = None,
    ) -> None:
        """Set everything up; the record's folder is made here.

        Raises:
            PlanError, GrammarError, RecordError, DeviceError: as their parts do.
        """
        self._settings, self._aloud = settings, aloud
        plan = parse_plan(settings.plan, settings.plan_name)
        self.language: Language = parse_grammar(settings.grammar, settings.grammar_name)
        refuse_alike(self.language, plan)
        self._clock = ManualClock(BEGINS)
        self._engine = open_engine(self.language, settings.engine, settings.model)
        self._speaker = SimulatedSpeaker(Voice(), self._clock)
        voice = settings.voice or OPERATOR_VOICES[settings.seed % len(OPERATOR_VOICES)]
        self._voice = Voice(voice, rate=150)
        self._room = SimulatedRoom(
            snr_db=settings.snr_db, seed=settings.seed, recording=settings.room
        )
        self._operator = Operator(self.language, settings.script, settings.seed)
        self._folder = RecordFolder.create(settings.into, settings.plan, settings.grammar)
        self._observers = tuple(observers)
        self.loop = SessionLoop(begin(plan), self._parts())
        self._deed: tuple[int, OperatorAction] | None = None
        self._trouble_reason, self._waited_s = "", 0.0
        self._waits_until = 0
        self._asked = 0
        self._opening = self._opened(plan)

    def _parts(self) -> Parts:
        keeper = JournalWriter(
            self._folder,
            self._clock,
            self.language,
            trouble=self._trouble,
            wait=self._wait_for_the_disk,
            boot=f"rehearsal-{self._settings.seed}",
        )
        return Parts(
            language=self.language,
            engine=self._engine,
            pipeline=ListeningPipeline(detector_for(self._engine)),
            speaker=self._speaker,
            clock=self._clock,
            keeper=keeper,
            clips=self._folder,
            observers=(*self._observers, self),
        )

    @property
    def effort(self) -> Effort:
        """The operator's effort to be understood so far."""
        return Effort(self._operator.repeated, self._asked, self._operator.rescued)

    def run(self) -> Session:
        """Run to the end and return the final session."""
        with self._folder:
            checked = self._check_sound()
            self.loop.take(self._opening)
            self.loop.take(checked)
            while not self.loop.ended:
                self.tick()
        return self.loop.session

    def _opened(self, plan: Plan) -> Opened:
        return Opened(
            software=software(),
            plan_sha256=fingerprint(self._settings.plan),
            grammar_sha256=fingerprint(self._settings.grammar),
            operator=next(p.name for p in plan.people if p.role == "operator"),
            engine=self._engine.name,
            microphone=f"simulated room, {self._settings.snr_db:g} dB",
            speaker=self._speaker.name,
            kind="rehearsal",
            **identity(self._engine.facts),
        )

    def _check_sound(self) -> SoundChecked:
        """Take the operator through the sound check; a room that is too loud is overridden."""
        phrases = spoken_for_check(self.language, self.loop.session)
        check = SoundCheck(self.language, self._engine, self._speaker, phrases)
        answered = ""
        while check.finding is None:
            self._speaker.tick()
            if check.asking != answered:
                answered = check.asking
                if answered:
                    self._room.say(self._voice.render(answered), after_s=0.4)
            check.tick(self._room.next_block())
            self._pass_time(time.perf_counter())
        self._speaker.silence()
        return check.finding.event

    def tick(self) -> None:
        """Advance the room by 50 ms."""
        began = time.perf_counter()
        self._speaker.tick()
        typed = self._act()
        self.loop.tick(self._room.next_block(), typed)
        self._pass_time(began)

    def _pass_time(self, began: float) -> None:
        """Advance the room's clock; in real time, wait for the other clocks."""
        self._clock.advance(BLOCK_NS)
        if self._settings.real_time:
            time.sleep(max(0.0, BLOCK_NS / 1e9 - (time.perf_counter() - began)))

    def entered(self, entry: Entry, event: Event, outcome: Outcome, said: str) -> None:
        """The program has reacted: drop the planned action and answer what was said."""
        del entry
        self._asked += isinstance(event, Heard) and event.decision == "ask"
        if outcome.advanced:
            self._operator.arrived(outcome.session)
        if said:
            self._deed, self._waits_until = None, 0
            if self._aloud is not None:
                self._aloud.say(said, lambda: None)

    def trouble(self, reason: str) -> None:
        """Nothing to do for the operator."""

    def _trouble(self, reason: str) -> None:
        self._trouble_reason, self._waited_s = reason, 0.0
        for observer in self._observers:
            observer.trouble(reason)

    def _wait_for_the_disk(self, seconds: float) -> None:
        """Wait, but not forever: there may be nobody to free disk space.

        Raises:
            RecordError: the record could not be written for `DISK_PATIENCE_S`.
        """
        self._waited_s += seconds
        if self._waited_s > DISK_PATIENCE_S:
            raise RecordError(
                f"{self._trouble_reason} The rehearsal was abandoned; start it again."
            )
        time.sleep(seconds)

    def _act(self) -> list[Utterance]:
        """Let the operator plan, and perform actions that are due."""
        now = self._clock.now().mono_ns
        if self.loop.speaking or self._room.speaking or now < self._waits_until:
            return []
        if self._deed is None:
            deed = self._operator.next(self.loop.session)
            if deed is not None:
                self._deed = (now + round(deed.after_s * 1e9), deed)
            return []
        due, deed = self._deed
        if now < due:
            return []
        self._deed = None
        return self._do(deed, now)

    def _do(self, deed: OperatorAction, now: int) -> list[Utterance]:
        self._waits_until = now + round(max(PATIENCE_S, deed.seconds) * 1e9)
        match deed.do:
            case "say" | "chatter":
                pcm = self._voice.render(deed.words)
                self._room.say(pcm)
                self._waits_until += len(pcm) * 500_000_000 // SAMPLE_RATE
            case "key":
                return [Utterance(source="key")]
            case "type":
                return [Utterance(typed=deed.words, source="text")]
            case "silence":
                pass
        return []
