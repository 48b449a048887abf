"""The loop: one input -> `step` -> append and fsync -> only then the effects.

Nothing is spoken before it is on record, with one unavoidable exception: a failure to write the
record itself is announced at once and recorded as soon as possible.

The loop uses no thread and no device. Its driver calls `tick` about every 50 ms with new input: a
live session from its microphone, a rehearsal from its simulated room.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from assistant.conformance import words_on_record
from assistant.grammar.language import Language
from assistant.grammar.rendering import NUMBER, phrase, sentence
from assistant.journal.entry import Entry
from assistant.journal.head_code import head_code
from assistant.ports import Clock, Judgement, PhraseEngine, Speaker, Tone, Utterance
from assistant.procedure import queries
from assistant.procedure.effects import (
    Close,
    MarkHead,
    Say,
    StartTimer,
    StopTimers,
    TakeRemark,
    TellHead,
)
from assistant.procedure.enums import CONTENT, END, Intent, Prompt, State, Timer
from assistant.procedure.events import (
    Event,
    Heard,
    Meaning,
    RemarkTaken,
    StorageTroubled,
    TimerRang,
)
from assistant.procedure.machine import Outcome, step
from assistant.procedure.model import Session
from assistant.session.journal_writer import JournalWriter
from assistant.session.monitors import KEY_AFTER_PROMPT_NS, KeyWatch, RemarkWatch, Timers
from assistant.session.utterance_to_event import UtteranceInterpreter
from assistant.speech.listening_pipeline import ListeningPipeline

THROUGH = (Intent.STAND_BY, Intent.STOP_SAMPLING)
"""Phrases that must be heard while the program speaks, even from a loudspeaker."""


class ClipStore(Protocol):
    """Keeps audio."""

    def save_clip(self, pcm: bytes) -> str:
        """Store samples; return the clip's name once it is on the disk."""
        ...


class Observer(Protocol):
    """Watches a session: the console, the rehearsal's operator, a test."""

    def entered(self, entry: Entry, event: Event, outcome: Outcome, said: str) -> None:
        """An entry was recorded; `said` is what is spoken because of it."""
        ...

    def trouble(self, reason: str) -> None:
        """The record cannot be written; everything waits until it can."""
        ...


@dataclass(frozen=True, slots=True)
class Parts:
    """The parts of a session."""

    language: Language
    engine: PhraseEngine
    pipeline: ListeningPipeline
    speaker: Speaker
    clock: Clock
    keeper: JournalWriter
    clips: ClipStore
    observers: tuple[Observer, ...] = ()


class SessionLoop:
    """Drives one session from its parts."""

    def __init__(self, session: Session, parts: Parts) -> None:
        """Set up; the first event is still to be processed."""
        self.session = session
        self._parts = parts
        self._hearing = UtteranceInterpreter(parts.language)
        self.timers = Timers()
        self._waiting: list[tuple[str, Tone | None]] = []
        self._number = 0
        self._speaking = 0
        self._finished: list[int] = []
        self._keys = KeyWatch()
        self._prompted_ns = -KEY_AFTER_PROMPT_NS
        self._remark: RemarkWatch | None = None
        self._remark_wanted = 0
        self._attune()

    @property
    def ended(self) -> bool:
        """Whether the record is closed and everything has been said."""
        return self.session.state in END and not self.speaking

    @property
    def speaking(self) -> bool:
        """Whether a prompt is being spoken or is queued."""
        return bool(self._speaking or self._waiting)

    @property
    def taking_remark(self) -> bool:
        """Whether input is recorded as a remark instead of a phrase."""
        return self._remark is not None

    def tick(
        self,
        block: bytes | None,
        typed: Iterable[Utterance] = (),
        notices: Iterable[Event] = (),
    ) -> None:
        """Process all input since the last tick.

        Args:
            block: 50 ms of sound, None if there is none.
            typed: lines typed and keys pressed.
            notices: reports of the devices.
        """
        self._prompts()
        if self.session.state in END:
            return
        for event in (*notices, *self.timers.due(self._parts.clock.now().mono_ns)):
            self.take(event)
        for utterance in typed:
            self._typed(utterance)
        if block is not None:
            self._listen(block)

    def take(self, event: Event) -> Outcome:
        """Process one event: step, record, perform; nothing follows a closed record."""
        before = self.session
        if before.state in END:
            return Outcome(before, (), advanced=False)
        outcome = step(before, event)
        entry = self._parts.keeper.keep(event, outcome, queries.answerable(before, event))
        self.session = outcome.session
        self._attune()
        tone = tone_for(event, outcome) if before.plan.dialogue == "short" else None
        said = self._perform(outcome, entry, tone, moved=_moved(before, outcome.session))
        for observer in self._parts.observers:
            observer.entered(entry, event, outcome, said)
        if self._parts.keeper.troubled is not None:
            reason, seconds = self._parts.keeper.troubled
            self._parts.keeper.troubled = None
            self.take(StorageTroubled(reason=reason[:200], seconds=f"{seconds:.1f}"))
        return outcome

    def _attune(self) -> None:
        phrases = self._hearing.attune(self.session)
        self._parts.engine.prepare(phrases.union, phrases.legal, phrases.expected)
        through = (phrase(self._parts.language, Meaning(intent=intent)) for intent in THROUGH)
        self._parts.pipeline.allow_through([each for each in through if each in phrases.legal])
        self._parts.pipeline.allow_numbers(wanted=any(NUMBER in each for each in phrases.legal))

    def _perform(self, outcome: Outcome, entry: Entry, tone: Tone | None, *, moved: bool) -> str:
        words = []
        now = self._parts.clock.now().mono_ns
        written = words_on_record(entry.outcome)
        for effect, text in zip(outcome.effects, written, strict=True):
            match effect:
                case Say():
                    words.append(text)
                case TellHead():
                    words.append(self._head_code(entry))
                case MarkHead():
                    pass
                case StartTimer():
                    self.timers.start(effect, now)
                case StopTimers() | Close():
                    self.timers.stop()
                case TakeRemark():
                    self._remark_wanted = effect.limit_s
        said = " ".join(words)
        if said or tone:
            self._utter(said, tone, cut=moved)
        return said

    def _head_code(self, entry: Entry) -> str:
        """The head code's prompt; it depends on the entry's hash and is not part of it."""
        code = head_code(entry.seq, entry.hash)
        effect = Say(Prompt.HEAD, {"spelt": code.spoken})
        return sentence(self._parts.language, effect, spoken=True)

    def _utter(self, text: str, tone: Tone | None, *, cut: bool) -> None:
        """Speak now, or after the current prompt if that is still relevant."""
        if cut:
            self._waiting = [(text, tone)]
            self._start_next()
        else:
            self._waiting.append((text, tone))
            if not self._speaking:
                self._start_next()

    def _start_next(self) -> None:
        text, tone = self._waiting.pop(0)
        self._number += 1
        number = self._speaking = self._number
        self._prompted_ns = self._parts.clock.now().mono_ns
        self._parts.pipeline.prompt_started(text)
        self._parts.speaker.say(text, lambda: self._finished.append(number), tone)

    def _prompts(self) -> None:
        """Check whether the prompt has ended; start the next one, or open the gate."""
        ended = self._speaking in self._finished
        if not ended:
            return
        self._finished.clear()
        self._speaking = 0
        if self._waiting:
            self._start_next()
            return
        self._parts.pipeline.prompt_ended()
        if self._remark_wanted and self.session.state is State.REMARKING:
            self._parts.pipeline.start_clip(self._remark_wanted)
            self._remark = RemarkWatch(self._remark_wanted)
            self._remark_wanted = 0

    def _listen(self, block: bytes) -> None:
        judgements = self._parts.pipeline.feed(block)
        if self._remark is not None:
            self._follow_remark(self._remark)
            return
        for judgement in judgements:
            self._judged(judgement)

    def _judged(self, judgement: Judgement) -> None:
        if self.session.state in END:
            return
        if judgement.decision == "accept" and self.speaking:
            self._waiting.clear()
            self._parts.speaker.silence()
        clip = self._clip(judgement.utterance.pcm)
        self.take(self._hearing.heard(judgement, clip))

    def _clip(self, pcm: bytes) -> str:
        if not pcm:
            return ""
        names: list[str] = []
        self._parts.keeper.insist(lambda: names.append(self._parts.clips.save_clip(pcm)))
        return names[0]

    def _follow_remark(self, watch: RemarkWatch) -> None:
        pipeline = self._parts.pipeline
        if self.session.state is not State.REMARKING:
            self._remark = None
            pipeline.stop_clip()
        elif watch.over(pipeline.level_dbfs, pipeline.floor_dbfs):
            self._remark = None
            clip = self._clip(pipeline.stop_clip())
            self.take(RemarkTaken(clip=clip, seconds=f"{watch.seconds:.1f}"))

    def _typed(self, utterance: Utterance) -> None:
        """A typed line is a phrase, or the remark while one is recorded; the key ends it."""
        key = utterance.source == "key"
        now = self._parts.clock.now().mono_ns
        if key and not self._keys.pressed(now):
            return
        heard = self._hearing.typed(utterance)
        if key and self._too_early(heard, now):
            self.take(Heard(source="key", text=heard.text, decision="refuse", reason="too-early"))
            return
        if heard.decision == "accept":
            self._parts.pipeline.answered()
        if self.session.state is not State.REMARKING or heard.meaning is not None:
            self.take(heard)
            return
        watch, self._remark, self._remark_wanted = self._remark, None, 0
        spoken = self._parts.pipeline.stop_clip()
        if utterance.source == "key" and watch is not None:
            self.take(RemarkTaken(clip=self._clip(spoken), seconds=f"{watch.seconds:.1f}"))
        else:
            self.take(RemarkTaken(text=utterance.typed.strip()[:500]))

    def _too_early(self, key: Heard, now: int) -> bool:
        """Whether a key cannot answer the prompt yet: it has just begun, or must be heard first.

        A caution or the content of a vial is never confirmed before its prompt has ended.
        """
        state = self.session.state
        if state is State.REMARKING:
            return False
        if now - self._prompted_ns < KEY_AFTER_PROMPT_NS:
            return True
        vial = key.meaning is not None and key.meaning.intent in CONTENT
        return self.speaking and (vial or state in (State.BRIEFING, State.READING_BACK))


def tone_for(event: Event, outcome: Outcome) -> Tone | None:
    """What a short dialogue signals before it speaks, or without speaking."""
    match event:
        case Heard(decision="ask"):
            return "doubt"
        case Heard(source="voice") if outcome.advanced:
            return "heard"
        case TimerRang(timer=Timer.FILL_REACHED | Timer.SHAKE_OFF_REACHED) if outcome.advanced:
            return "wait-over"
        case _:
            return None


def _moved(before: Session, after: Session) -> bool:
    """Whether the procedure has advanced, so that the current prompt is out of date."""
    return (before.state, before.ordinal) != (after.state, after.ordinal)
