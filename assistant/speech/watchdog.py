"""Detects a lost microphone from the blocks it delivers; uses no device and no clock.

A lost device shows in different ways: the callback stops, the library reports that the stream has
finished, or the callback delivers exact zeros. A recogniser that blocks all other threads delays
both callback and watchdog; such a stall of the program does not count as a lost device.
"""

from dataclasses import dataclass

GRACE_S = 3.0
"""A newly started sound server may take 2 s to deliver the first block."""

SILENCE_S = 0.5
"""After this long without a block, ten blocks are missing."""

ZEROS_S = 1.0
"""No working microphone delivers exact zeros for this long."""

STANDSTILL_S = 0.3
"""The check runs several times a second; after a gap this long the program itself stalled."""


@dataclass(slots=True)
class Watchdog:
    """Watches one open stream; times are seconds of any monotonic clock."""

    opened: float
    """When the stream was opened."""
    first: float | None = None
    """When the first block arrived."""
    last: float = 0.0
    """When the latest block arrived."""
    zeros_since: float | None = None
    """Since when only exact zeros have arrived."""
    heard: bool = False
    """Whether anything but exact zeros has ever arrived."""
    finished: bool = False
    """Whether the library reported the end of the stream."""
    asked: float | None = None
    """When `fault` was last called."""
    stood_until: float = 0.0
    """When the program last stalled; blocks delayed by it may still arrive."""

    def block(self, now: float, *, zeros: bool) -> None:
        """Register a block."""
        self.first = now if self.first is None else self.first
        self.last = now
        if not zeros:
            self.heard = True
            self.zeros_since = None
        elif self.zeros_since is None:
            self.zeros_since = now

    def fault(self, now: float) -> str | None:
        """Return why the stream counts as lost, None while it works; call it continuously."""
        if self.asked is not None and now - self.asked > STANDSTILL_S:
            self.stood_until = now
        self.asked = now
        if self.finished:
            return "the system ended the recording"
        if self.first is None:
            return "no sound arrived after opening" if now - self.opened > GRACE_S else None
        if now - max(self.last, self.stood_until) > SILENCE_S:
            return "sound stopped arriving"
        if self.zeros_since is not None and now - self.zeros_since > ZEROS_S:
            return "only digital silence arrives; check whether it is muted or unplugged"
        return None
