"""What the procedure wants done once the event is safely on record."""

from dataclasses import dataclass, field
from typing import TypeAlias

from assistant.procedure.events import Meaning
from assistant.procedure.vocabulary import Prompt, Timer

Slot: TypeAlias = str | int


@dataclass(frozen=True, slots=True)
class Say:
    """Speak (and show) a prompt; the grammar finds the words."""

    prompt: Prompt
    slots: dict[str, Slot] = field(default_factory=dict)
    meaning: Meaning | None = None
    """A phrase quoted inside the prompt."""
    options: tuple[Meaning, ...] = ()
    """The phrases listed by "what can I say"."""


@dataclass(frozen=True, slots=True)
class StartTimer:
    """Ring after so many milliseconds, naming the generation."""

    timer: Timer
    milliseconds: int
    generation: int


@dataclass(frozen=True, slots=True)
class StopTimers:
    """Forget every timer that has not rung."""


@dataclass(frozen=True, slots=True)
class TakeRemark:
    """Record a spoken memo until the speaker falls silent, or for so many seconds at most."""

    limit_s: int


@dataclass(frozen=True, slots=True)
class TellHead:
    """Show and speak the short code of the record's head."""


@dataclass(frozen=True, slots=True)
class Close:
    """The record is complete, or stopped; no event follows."""


Effect: TypeAlias = Say | StartTimer | StopTimers | TakeRemark | TellHead | Close
