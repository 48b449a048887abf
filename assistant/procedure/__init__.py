"""The procedure as a pure state machine: a table, the events that move it, the effects it asks for.

This package reads no clock, touches no file, makes no sound and knows no words: phrases arrive as
meanings, prompts leave as names.
"""

from assistant.procedure.events import Event, Meaning
from assistant.procedure.machine import Outcome, step
from assistant.procedure.model import Session, begin

__all__ = ["Event", "Meaning", "Outcome", "Session", "begin", "step"]
