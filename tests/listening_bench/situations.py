"""Which phrases can be said where: read from the phrases file and the procedure's table.

The dialogue is the full one, so that figures can be compared with those of earlier versions; the
phrases of the short one are measured with every voice by `tests.phone_decoder_bench worst`.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from assistant.ports import Stakes
from assistant.procedure.enums import ACTIVE, SHORT_ONLY, VIAL, Intent, State
from assistant.procedure.queries import ANY_MOMENT
from assistant.procedure.table import rows
from assistant.session.utterance_to_event import stakes

POSITIONS: Final = ("bottom", "middle", "top")
VIALS: Final = (
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "one zero",
    "one one",
    "one two",
)
CALLS: Final = ("alfa", "bravo")
HARMLESS: Final = frozenset(
    {Intent.SAY_AGAIN, Intent.WHERE_ARE_WE, Intent.WHAT_CAN_I_SAY, Intent.STAND_BY, Intent.RESUME}
)
"""Heard wrongly, these neither advance a step nor put anything on record about a sample."""
READ_BACK: Final = VIAL
"""These record a sample and are therefore always asked back by voice, however well they fit."""


@dataclass(frozen=True, slots=True)
class Situation:
    """One place in the procedure, with everything that may be said there."""

    name: str
    legal: tuple[str, ...]
    harmful: frozenset[str]
    """Those of `legal` that advance a step or record something."""
    read_back: frozenset[str] = frozenset()
    """Those of `legal` that are asked back before they count."""
    stakes: Mapping[str, Stakes] = field(default_factory=dict)
    """What each of `legal` can do; strict where not given."""
    expected: frozenset[str] = frozenset()
    """Those of `legal` that answer the prompt spoken there."""


def _said(intent: Intent, text: str, turn: int) -> list[str]:
    """Fill in the object of a phrase as it would be at one turn of the work."""
    if intent in (Intent.SHAFT_RAISED, Intent.RAISED_OPEN):
        return [text.format(position=POSITIONS[1 + turn % 2])]
    if "{position}" in text:
        return [text.format(position=POSITIONS[turn % 3])]
    if "{vial}" in text:
        return [text.format(vial=VIALS[turn % len(VIALS)])]
    if "{call}" in text:
        return [text.format(call=call) for call in CALLS]
    return [] if "{" in text else [text]


def union(phrases: Mapping[str, str], without: Collection[Intent] = SHORT_ONLY) -> tuple[str, ...]:
    """Return every phrase with every object filled in; numbers have a grammar of their own."""
    found: dict[str, None] = {}
    for name, text in phrases.items():
        if Intent(name) in without:
            continue
        for turn in range(len(VIALS)):
            for said in _said(Intent(name), text.lower(), turn):
                found[said] = None
    return tuple(found)


def situations(phrases: Mapping[str, str]) -> tuple[Situation, ...]:
    """Return every state of the procedure in which something can be said.

    States whose phrases name a position or a vial stand there once for each of three objects.
    """
    found = []
    for state in ACTIVE:
        intents = _intents(state)
        turns = 3 if any("{" in phrases.get(i, "") for i in intents if i != Intent.TAKE_OVER) else 1
        for turn in range(turns):
            said = {
                text: intent
                for intent in intents
                if intent in phrases
                for text in _said(intent, phrases[intent].lower(), turn)
            }
            harmful = frozenset(text for text, intent in said.items() if intent not in HARMLESS)
            asked = frozenset(text for text, intent in said.items() if intent in READ_BACK)
            if said:
                weighed = {text: stakes(intent) for text, intent in said.items()}
                due = frozenset(text for text, each in said.items() if each not in ANY_MOMENT)
                found.append(
                    Situation(f"{state}-{turn}", tuple(said), harmful, asked, weighed, due)
                )
    return tuple(found)


def _intents(state: State) -> Sequence[Intent]:
    seen: dict[Intent, None] = {}
    for row in rows():
        if row.source is not state or row.trigger in SHORT_ONLY:
            continue
        if isinstance(row.trigger, Intent):
            seen[row.trigger] = None
    return tuple(seen)
