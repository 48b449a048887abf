"""The moments of a session that are noted outside its record: opening, resumption, heads, end."""

from assistant.journal.entry import Entry
from assistant.procedure.effects import Close, TellHead
from assistant.procedure.events import Event, Resumed
from assistant.procedure.machine import Outcome
from assistant.storage.register import What

__all__ = ["STAMPED", "moment"]

STAMPED = ("opened", "head", "ended")
"""The moments for which a time stamp is asked; a resumption adds no work of its own."""


def moment(entry: Entry, event: Event, outcome: Outcome) -> What | None:
    """Return what an entry is to the register and the time-stamping authority, None if nothing.

    A head is told after every insertion.
    """
    if entry.seq == 1:
        return "opened"
    if isinstance(event, Resumed):
        return "resumed"
    if any(isinstance(effect, Close) for effect in outcome.effects):
        return "ended"
    if any(isinstance(effect, TellHead) for effect in outcome.effects):
        return "head"
    return None
