"""A session on a bench: real loop, keeper and pipeline; journal, clips and clock in memory.

What is heard is decided by a script; that something is heard at all, by the real detection of
speech on bursts of noise.
"""

import importlib.util
from collections import deque
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from hashlib import sha256

import numpy as np
import pytest

from assistant.clock import ManualClock
from assistant.conformance import fold
from assistant.errors import RecordError
from assistant.grammar.language import Language, parse_grammar
from assistant.journal.entry import Entry
from assistant.plan import Plan, parse_plan
from assistant.ports import (
    BLOCK_SAMPLES,
    SAMPLE_RATE,
    EngineFacts,
    Judgement,
    Stakes,
    Tone,
    Utterance,
)
from assistant.procedure.events import Event, Opened
from assistant.procedure.machine import Outcome
from assistant.procedure.model import Session, begin
from assistant.session.journal_writer import JournalWriter
from assistant.session.session_loop import Parts, SessionLoop
from assistant.speech.cut_and_judge import CutAndJudge
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.storage import bundled_files
from tests.dialogue import full
from tests.memory_journal import MemoryJournal

collect_ignore = [] if importlib.util.find_spec("starlette") else ["test_view_process.py"]
"""The libraries of the view are an extra."""

BLOCK_NS = BLOCK_SAMPLES * 1_000_000_000 // SAMPLE_RATE


@cache
def english() -> Language:
    """Return the shipped grammar."""
    return parse_grammar(bundled_files.read_grammar("en"), "en")


@cache
def plan_of(name: str) -> Plan:
    """Return a shipped plan."""
    return parse_plan(full(name), name)


class Fitful(MemoryJournal):
    """A journal whose disk fails a few times when told to."""

    failures = 0

    def append(self, line: bytes) -> None:
        """Keep the line, or fail."""
        if self.failures:
            self.failures -= 1
            raise RecordError("The disk is full.")
        super().append(line)


class Shelf:
    """Keeps clips in memory."""

    def __init__(self) -> None:
        """Keep none yet."""
        self.clips: dict[str, bytes] = {}
        self.failures = 0

    def save_clip(self, pcm: bytes) -> str:
        """Keep one, or fail."""
        if self.failures:
            self.failures -= 1
            raise RecordError("The disk is full.")
        name = sha256(pcm).hexdigest()
        self.clips[name] = pcm
        return name


class Mouth:
    """Speaks in no time at all, but says that it is done only when told."""

    name = "bench"

    def __init__(self) -> None:
        """Be silent."""
        self.said: list[str] = []
        self.tones: list[Tone | None] = []
        self.cut = 0
        self._done: Callable[[], None] | None = None

    def say(self, text: str, done: Callable[[], None], tone: Tone | None = None) -> None:
        """Begin a sentence, cutting the one before."""
        self.silence()
        self.said.append(text)
        self.tones.append(tone)
        self._done = done

    def silence(self) -> None:
        """Stop at once."""
        if self._done is not None:
            self.cut += 1
        self.finish()

    def finish(self) -> None:
        """Come to the real end of the sentence."""
        done, self._done = self._done, None
        if done is not None:
            done()


class Script:
    """Decides what was heard, in the order it was told; knows what it was attuned to."""

    name = "script"
    facts = EngineFacts("script", "1", "none", "0" * 64)

    def __init__(self) -> None:
        """Hear nothing."""
        self.next: deque[tuple[str, str]] = deque()
        self.union: list[str] = []
        self.legal: list[str] = []
        self.expected: frozenset[str] = frozenset()

    def prepare(
        self, union: Sequence[str], legal: Mapping[str, Stakes], expected: Collection[str] = ()
    ) -> None:
        """Take note of the phrases."""
        self.expected = frozenset(expected)
        self.union, self.legal = list(union), list(legal)

    def tighten(self, by: float) -> None:
        """Take no notice."""

    def judge(self, utterance: Utterance) -> Judgement:
        """Give the next judgement; sound that nothing was foreseen for is no phrase."""
        decision, text = self.next.popleft() if self.next else ("refuse", "")
        reason = "" if decision == "accept" else "unclear"
        judgement = Judgement("accept", text, reason, utterance, "script", {"s": "1"})
        return {
            "accept": judgement,
            "ask": Judgement("ask", text, reason, utterance, "script"),
            "refuse": Judgement("refuse", text, "no-phrase", utterance, "script"),
        }[decision]


class Bench:
    """Everything together."""

    def __init__(self, session: Session, *, headset: bool = False) -> None:
        """Put a session on the bench."""
        self.plan = session.plan
        self.clock = ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC))
        self.journal, self.shelf = Fitful(), Shelf()
        self.mouth, self.script = Mouth(), Script()
        self.troubles: list[str] = []
        self.waits: list[float] = []
        self.entries: list[tuple[Entry, Event, str]] = []
        self._noise = np.random.default_rng(3)
        self.pipeline = ListeningPipeline(CutAndJudge(self.script.judge), headset=headset)
        keeper = JournalWriter(
            self.journal, self.clock, english(), trouble=self.trouble, wait=self._wait
        )
        parts = Parts(
            language=english(),
            engine=self.script,
            pipeline=self.pipeline,
            speaker=self.mouth,
            clock=self.clock,
            keeper=keeper,
            clips=self.shelf,
            observers=(self,),
        )
        self.loop = SessionLoop(session, parts)

    def entered(self, entry: Entry, event: Event, outcome: Outcome, said: str) -> None:
        """Observe an entry."""
        assert outcome.session == self.loop.session
        self.entries.append((entry, event, said))

    def trouble(self, reason: str) -> None:
        """Observe trouble; the keeper tells it, too."""
        self.troubles.append(reason)

    def _wait(self, seconds: float) -> None:
        self.waits.append(seconds)
        self.clock.advance(round(seconds * 1e9))

    def open(self) -> None:
        """Take the first event."""
        operator = next(p.name for p in self.plan.people if p.role == "operator")
        self.loop.take(
            Opened(
                software="s",
                plan_sha256="p",
                grammar_sha256="g",
                operator=operator,
                engine="script",
                microphone="bench",
                speaker="bench",
            )
        )

    def block(self, level: float) -> bytes:
        """Return 50 ms of noise."""
        sound = self._noise.normal(0, level, BLOCK_SAMPLES)
        return np.clip(sound, -32768, 32767).astype("<i2").tobytes()

    def pass_time(self, seconds: float, *, loud: bool = False, finish: bool = True) -> None:
        """Let the room be quiet or loud; prompts come to their end at once unless told."""
        for _ in range(round(seconds / 0.05)):
            if finish:
                self.mouth.finish()
            self.loop.tick(self.block(4000 if loud else 20))
            self.clock.advance(BLOCK_NS)

    def hear(self, text: str, decision: str = "accept") -> None:
        """Let somebody say something for 600 ms, with quiet around it."""
        self.script.next.append((decision, text))
        self.pass_time(0.6)
        self.pass_time(0.6, loud=True)
        self.pass_time(0.8)

    def type(self, text: str) -> None:
        """Type a line."""
        self.mouth.finish()
        self.loop.tick(None, typed=[Utterance(typed=text, source="text")])

    def press(self) -> None:
        """Press the key when the prompt has been heard."""
        self.mouth.finish()
        self.loop.tick(None)
        self.clock.advance(1_100_000_000)
        self.loop.tick(None, typed=[Utterance(source="key")])

    def proved(self) -> Session:
        """Fold the record and return the session it tells of."""
        session, _ = fold(self.journal.lines(), self.plan, english())
        return session

    @property
    def events(self) -> list[Event]:
        """What was put on record."""
        return [event for _, event, _ in self.entries]


@pytest.fixture
def bench() -> Iterator[Bench]:
    """Return an opened session in a quiet room; what it wrote is proved in the end."""
    made = Bench(begin(plan_of("double-cone")))
    made.open()
    made.pass_time(1.0)
    yield made
    assert made.proved() == made.loop.session
