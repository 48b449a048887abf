"""Whether a microphone still lives, judged from what it delivers; knows no device and no clock.

A lost device shows in different ways: the callback stops, or the library says that the stream has
finished, or the callback goes on with exact zeros. A recogniser that lets no other thread run holds
up callback and watchdog alike; such a standstill of the program is no silence of the device.
"""

from dataclasses import dataclass

GRACE_S = 3.0
"""A fresh sound server may take 2 s to deliver the first block."""

SILENCE_S = 0.5
"""Without a block for this long, ten blocks are missing."""

ZEROS_S = 1.0
"""No microphone that hears anything delivers exact zeros for this long."""

STANDSTILL_S = 0.3
"""Asked several times a second, but not for this long: the program itself has stood still."""


@dataclass(slots=True)
class Watchdog:
    """Follows one opened stream; times are seconds of any clock that never steps."""

    opened: float
    """When the stream was opened."""
    first: float | None = None
    """When the first block came."""
    last: float = 0.0
    """When the latest block came."""
    zeros_since: float | None = None
    """Since when nothing but exact zeros has come."""
    heard: bool = False
    """Whether anything but exact zeros has ever come."""
    finished: bool = False
    """Whether the library said that the stream has ended."""
    asked: float | None = None
    """When `fault` was asked last."""
    stood_until: float = 0.0
    """When the program last stood still; blocks delayed by it may still arrive."""

    def block(self, now: float, *, zeros: bool) -> None:
        """Take note of a block."""
        self.first = now if self.first is None else self.first
        self.last = now
        if not zeros:
            self.heard = True
            self.zeros_since = None
        elif self.zeros_since is None:
            self.zeros_since = now

    def fault(self, now: float) -> str | None:
        """Return why the stream counts as lost, None while it lives; to be asked all the time."""
        if self.asked is not None and now - self.asked > STANDSTILL_S:
            self.stood_until = now
        self.asked = now
        if self.finished:
            return "the system ended the recording"
        if self.first is None:
            return "no sound came after opening" if now - self.opened > GRACE_S else None
        if now - max(self.last, self.stood_until) > SILENCE_S:
            return "no sound comes any more"
        if self.zeros_since is not None and now - self.zeros_since > ZEROS_S:
            return "nothing but digital silence comes; is it muted or unplugged"
        return None
