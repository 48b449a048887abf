"""Connects all parts: inputs become events, are recorded, and then take effect."""

from assistant.session.session_loop import SessionLoop

__all__ = ["SessionLoop"]
