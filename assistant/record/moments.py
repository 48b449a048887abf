"""The moments of a session that are noted outside its record: opening, resumption, heads, end."""

from assistant.journal.entry import Entry
from assistant.procedure.effects import Close, MarkHead, TellHead
from assistant.procedure.enums import Intent
from assistant.procedure.events import Event, Heard, Meaning, Resumed
from assistant.procedure.machine import Outcome
from assistant.storage.register import What

__all__ = ["STAMPED", "moment"]

STAMPED = ("opened", "head", "ended")
"""The moments for which a time stamp is asked; a resumption adds no work of its own."""


def moment(entry: Entry, event: Event, outcome: Outcome) -> What | None:
    """Return what an entry is to the register and the time-stamping authority, None if nothing.

    The head after an insertion is marked, or told; one that was asked for is no moment.
    """
    if entry.seq == 1:
        return "opened"
    if isinstance(event, Resumed):
        return "resumed"
    if any(isinstance(effect, Close) for effect in outcome.effects):
        return "ended"
    asked = isinstance(event, Heard) and event.meaning == Meaning(intent=Intent.HEAD_CODE)
    if not asked and any(isinstance(each, TellHead | MarkHead) for each in outcome.effects):
        return "head"
    return None
