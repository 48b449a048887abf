"""The seams between the session and the world, on one screen.

The session's loop knows these Protocols only. Each has at least two implementations (a real one and
one for rehearsal or tests), and tests/contract holds every implementation to the same promises.
"""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal, Protocol

SAMPLE_RATE = 16_000
"""Samples per second of all audio inside the program: mono, signed 16-bit, little-endian."""

BLOCK_SAMPLES = 800
"""Samples in one audio block (50 ms)."""


@dataclass(frozen=True, slots=True)
class Instant:
    """One moment by both clocks."""

    utc: str
    """RFC 3339, microseconds, ending in Z."""
    mono_ns: int
    """Nanoseconds of a clock that never steps; only differences mean anything."""


class Clock(Protocol):
    """Tells the time; the rehearsal's clock is moved by the audio that passes."""

    def now(self) -> Instant:
        """Return this moment by both clocks."""
        ...


@dataclass(frozen=True, slots=True)
class Utterance:
    """One stretch of speech, or one line typed, or one press of the confirm key."""

    pcm: bytes = b""
    """Mono, 16-bit, `SAMPLE_RATE`; empty for what was typed."""
    typed: str = ""
    source: Literal["voice", "text", "key"] = "voice"


Decision = Literal["accept", "ask", "refuse"]

Stakes = Literal["strict", "answer", "lenient"]
"""What a phrase can do: record or advance; answer the question just asked; or neither by itself,
such as what is read back in any case."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """What became of one utterance: taken, to be asked back, or refused."""

    decision: Decision
    text: str
    """The phrase it was taken for, or came nearest to; "" when none."""
    reason: str
    """Why not accepted ("unclear", "no-phrase", "other-words", "contradicted", "unanswered",
    "too-short", "too-long", "overflow"), or "". An "unclear" refusal is answered aloud."""
    utterance: Utterance
    engine: str
    scores: Mapping[str, str] = field(default_factory=dict)
    """Figures behind the decision, as decimal strings."""


@dataclass(frozen=True, slots=True)
class EngineFacts:
    """Which recogniser listened, for the record's first entry."""

    name: str
    version: str
    model: str
    """Name of the model's file or folder."""
    sha256: str
    """Of the model file, or over names and contents of the model's folder."""


class PhraseEngine(Protocol):
    """Recognises one utterance and decides: take the phrase, ask it back, or refuse it."""

    @property
    def name(self) -> str:
        """Engine, version and model, as they go on record with each utterance."""
        ...

    @property
    def facts(self) -> EngineFacts:
        """The same in parts, as they go on record once."""
        ...

    def prepare(
        self,
        union: Sequence[str],
        legal: Mapping[str, Stakes],
        expected: Collection[str] = (),
    ) -> None:
        """Set what may be said from now on.

        Args:
            union: all phrases that can be heard.
            legal: those of them that may be said now, each with its stakes.
            expected: those of `legal` that answer the prompt just spoken.

        Raises:
            GrammarError: the union is empty, or a word cannot be pronounced.
        """
        ...

    def tighten(self, by: float) -> None:
        """Raise the thresholds by this much evidence, in log odds (lower, when negative)."""
        ...

    def judge(self, utterance: Utterance) -> Judgement:
        """Decide about one utterance; the same samples always give the same judgement."""
        ...


Tone = Literal["heard", "doubt", "wait-over"]
"""A short signal before a prompt, or instead of one."""


class Speaker(Protocol):
    """Speaks one sentence at a time and can be silenced at once."""

    @property
    def name(self) -> str:
        """Voice and device, as they go on record."""
        ...

    def say(self, text: str, done: Callable[[], None], tone: Tone | None = None) -> None:
        """Start to speak, dropping whatever is being spoken; call `done` at the real end.

        Args:
            text: the sentence; "" where the tone says it all.
            done: called once, when the sound has ended or was cut.
            tone: sounds before the sentence.
        """
        ...

    def silence(self) -> None:
        """Stop at once; `done` of the cut sentence is still called."""
        ...


class JournalStore(Protocol):
    """Keeps lines for good: what `append` returned from is on the disk."""

    def append(self, line: bytes) -> None:
        """Write one line (with its newline) and return when it is safely stored.

        Raises:
            RecordError: the line could not be stored; nothing of it remains in the file.
        """
        ...

    def lines(self) -> Iterator[bytes]:
        """Yield the stored lines in order, each without its newline."""
        ...
