"""What the procedure wants done once the event is safely on record."""

from dataclasses import dataclass, field
from typing import TypeAlias, assert_never

from pydantic import JsonValue

from assistant.procedure.enums import Prompt, Timer
from assistant.procedure.events import Meaning

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
class MarkHead:
    """Note the record's head outside the record, and do not tell it."""


@dataclass(frozen=True, slots=True)
class Close:
    """The record is complete, or stopped; no event follows."""


Effect: TypeAlias = Say | StartTimer | StopTimers | TakeRemark | TellHead | MarkHead | Close


def plain(effect: Effect) -> dict[str, JsonValue]:
    """Return the effect as it stands in the record; what is empty is left out."""
    match effect:
        case Say():
            whole: dict[str, JsonValue] = {
                "do": "say",
                "prompt": effect.prompt.value,
                "slots": dict(effect.slots),
                "phrase": _plain_meaning(effect.meaning) if effect.meaning else None,
                "options": [_plain_meaning(option) for option in effect.options],
            }
            return {key: value for key, value in whole.items() if value}
        case StartTimer():
            return {
                "do": "start-timer",
                "timer": effect.timer.value,
                "milliseconds": effect.milliseconds,
                "generation": effect.generation,
            }
        case StopTimers():
            return {"do": "stop-timers"}
        case TakeRemark():
            return {"do": "take-remark", "limit_s": effect.limit_s}
        case TellHead():
            return {"do": "tell-head"}
        case MarkHead():
            return {"do": "mark-head"}
        case Close():
            return {"do": "close"}
        case _:
            assert_never(effect)


def _plain_meaning(meaning: Meaning) -> dict[str, JsonValue]:
    return meaning.model_dump(mode="json", exclude_defaults=True)
