"""A technician who works a live session to its end: types, and speaks now and then.

The session, its queue, pipeline, writer and record are the real ones. Only the words of a spoken
phrase are told to the session instead of being recognised: that something was said at all is
found by the real detection of speech on bursts of noise, and stored as a clip.
"""

import random
from collections import deque
from collections.abc import Collection, Mapping, Sequence
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import numpy as np

from assistant.clock import ManualClock
from assistant.grammar.language import Language, parse_grammar
from assistant.plan import Plan, parse_plan
from assistant.ports import (
    BLOCK_SAMPLES,
    SAMPLE_RATE,
    EngineFacts,
    Judgement,
    Stakes,
    Utterance,
)
from assistant.procedure.enums import END, State
from assistant.procedure.events import Heard, RemarkTaken
from assistant.procedure.model import Session
from assistant.session.live import LiveSession, Setting
from assistant.session.session_loop import Observer
from assistant.speech.audio_events import QueueItem, SoundBlock, SoundEnded, SoundQueue
from assistant.speech.loudspeaker import TextOnlySpeaker
from assistant.storage import bundled_files
from assistant.storage.filesystem import Disk
from assistant.storage.record_writer import RecordFolder
from assistant.testing import Departure, normal_answer, quick_record
from tests.dialogue import full
from tests.memory_journal import MemoryJournal

START = datetime(2026, 3, 4, 8, tzinfo=UTC)
GRAMMAR = bundled_files.read_grammar("en")
FULL = full("double-cone")
"""Ten insertions, thirty samples."""
SMALL = b"[[locations]]".join(FULL.split(b"[[locations]]")[:2])
"""The same with the first location only: one insertion, three samples."""
BLOCK_NS = BLOCK_SAMPLES * 1_000_000_000 // SAMPLE_RATE
MOST_TICKS = 20_000
"""A session that has not ended by then hangs."""


@cache
def english() -> Language:
    """The shipped grammar."""
    return parse_grammar(GRAMMAR, "en")


@cache
def plan_of(raw: bytes) -> Plan:
    """A plan, read once."""
    return parse_plan(raw, "plan")


@cache
def whole(raw: bytes, departures: tuple[Departure, ...] = ()) -> tuple[bytes, ...]:
    """The lines of a whole session, each with its newline."""
    journal = MemoryJournal()
    quick_record(journal, ManualClock(START), raw, GRAMMAR, departures=departures)
    return tuple(line + b"\n" for line in journal.lines())


class Impatient(SoundQueue):
    """Waits for nothing: the driver puts everything in before it is asked for."""

    def get(self, timeout: float) -> QueueItem | None:  # noqa: ARG002 - as the queue has it
        """Return the next item, None when there is none."""
        return super().get(0.0)


class Dictated:
    """Takes every utterance for the phrase that was dictated last."""

    name = "dictated"
    facts = EngineFacts("dictated", "1", "none", "0" * 64)
    text = ""

    def prepare(
        self, union: Sequence[str], legal: Mapping[str, Stakes], expected: Collection[str] = ()
    ) -> None:
        """Need no phrases."""

    def tighten(self, by: float) -> None:
        """Be as sure as ever."""

    def judge(self, utterance: Utterance) -> Judgement:
        """Accept the dictated phrase."""
        return Judgement("accept", self.text, "", utterance, self.name, {"sure": "1"})


class Technician:
    """Answers every prompt as it should be answered; every so-manieth answer is spoken."""

    def __init__(self, *, spoken_every: int = 9, seed: int = 1) -> None:
        """Know the words, and have nothing to say yet."""
        self._every = spoken_every
        self._chance = random.Random(seed)  # noqa: S311 - repeatable masses, no secret
        self._noise = np.random.default_rng(seed)
        self._engine = Dictated()
        self._queue = Impatient()
        self._clock = ManualClock(START)
        self._sound: deque[bytes] = deque()
        self._answers = 0
        self._ticks = 0
        self._stop_after: int | None = None

    def work(
        self,
        folder: RecordFolder,
        *,
        observers: tuple[Observer, ...] = (),
        answers: int | None = None,
        stamp_authority: str = "",
    ) -> Session:
        """Open or resume the record in a folder and go on with it.

        Args:
            folder: opened for writing; stays open.
            observers: of the session.
            answers: how many to give before the power fails; None works to the end.
            stamp_authority: address that the first entry names.
        """
        self._stop_after = answers
        setting = Setting(
            language=english(),
            engine=self._engine,
            speaker=TextOnlySpeaker(),
            microphone="noise",
            listens=False,
            observers=observers,
            on_tick=self._tick,
            stamp_authority=stamp_authority,
        )
        live = LiveSession(folder, setting, self._queue, self._clock)
        return live.run()

    def _tick(self, live: LiveSession) -> None:
        """Let 50 ms pass or something be said; called between two turns of the session's loop."""
        self._ticks += 1
        assert self._ticks < MOST_TICKS, f"hangs in {live.loop.session.state}"
        if self._sound:
            self._put_block(self._sound.popleft())
        elif self._answers == self._stop_after:
            self._queue.put(SoundEnded())
        elif live.loop.session.state not in END:
            self._answer(live)

    def _answer(self, live: LiveSession) -> None:
        session = live.loop.session
        if session.state in (State.FILLING, State.SHAKING_OFF) and not session.progress.waited:
            left = live.loop.timers.left_s(self._clock.now().mono_ns)
            assert left is not None
            self._clock.advance(round(left * 1e9))
            return
        self._answers += 1
        self._clock.advance(1_000_000_000)
        answer = normal_answer(session, english(), self._chance)
        assert isinstance(answer, Heard | RemarkTaken)
        if self._answers % self._every == 0:
            self._say(answer.text)
        else:
            self._queue.put(Utterance(typed=answer.text, source="text"))

    def _say(self, text: str) -> None:
        """Make a noise for 600 ms with quiet around it; it is to be taken for `text`."""
        self._engine.text = text
        quiet = [self._block(20) for _ in range(12)]
        self._sound.extend([*quiet, *(self._block(4000) for _ in range(12)), *quiet, *quiet])
        self._put_block(self._sound.popleft())

    def _put_block(self, pcm: bytes) -> None:
        self._queue.put(SoundBlock(pcm, self._clock.now().mono_ns))
        self._clock.advance(BLOCK_NS)

    def _block(self, level: float) -> bytes:
        sound = self._noise.normal(0, level, BLOCK_SAMPLES)
        return np.clip(sound, -32768, 32767).astype("<i2").tobytes()


def begin_in(path: Path, raw: bytes, disk: Disk | None = None) -> RecordFolder:
    """Begin a record that follows a plan in the shipped language."""
    return RecordFolder.create(path, raw, GRAMMAR, disk)


def broken_off(path: Path, raw: bytes, lines: Sequence[bytes], torn: bytes = b"") -> Path:
    """Leave a record as a power cut leaves it: whole lines, and a part of one."""
    begin_in(path, raw).close()
    (path / "record.jsonl").write_bytes(b"".join(lines) + torn)
    return path
