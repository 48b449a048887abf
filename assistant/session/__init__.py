"""The only place where all parts meet: inputs become events, go on record and are acted on."""

from assistant.session.session_loop import SessionLoop

__all__ = ["SessionLoop"]
