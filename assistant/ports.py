"""The seams between the session and the world, on one screen.

The session's loop knows these Protocols only. Each has at least two implementations (a real one and
one for rehearsal or tests), and tests/contract holds every implementation to the same promises.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
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


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """What a recogniser made of one utterance."""

    text: str
    """The words in lower case, "" when nothing fitted."""
    confidence: float | None = None
    """The engine's own figure, 0 to 1, where it has one; never proof by itself."""


class Recogniser(Protocol):
    """Turns one utterance into the words of one of the given phrases."""

    @property
    def name(self) -> str:
        """Engine, version and model, as they go on record."""
        ...

    def missing(self, words: Sequence[str]) -> list[str]:
        """Return the words this engine cannot pronounce; they may not stand in a phrase."""
        ...

    def prepare(self, phrases: Sequence[str]) -> None:
        """Set the phrases that can be heard from the next utterance on.

        Raises:
            GrammarError: a phrase holds a word the engine does not know, or the list is empty.
        """
        ...

    def hear(self, utterance: Utterance) -> Hypothesis:
        """Recognise one whole utterance; the text is one of the phrases, or ""."""
        ...


Decision = Literal["accept", "ask", "refuse"]


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of one utterance: taken, to be asked back, or refused."""

    decision: Decision
    text: str
    """The phrase it was taken for, or came nearest to; "" when none."""
    reason: str
    """Why not accepted ("unclear", "no-phrase", "too-short", "too-long", "overflow"), or ""."""
    utterance: Utterance
    engine: str
    scores: Mapping[str, str] = field(default_factory=dict)
    """Figures behind the decision, as decimal strings."""


class Speaker(Protocol):
    """Speaks one sentence at a time and can be silenced at once."""

    @property
    def name(self) -> str:
        """Voice and device, as they go on record."""
        ...

    def say(self, text: str, done: Callable[[], None]) -> None:
        """Start to speak, dropping whatever is being spoken; call `done` at the real end."""
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
