"""The machine's clocks, and one that the rehearsal moves by hand."""

import time
from datetime import UTC, datetime, timedelta

from assistant.ports import Instant

BUILT = "2026-11-25T00:00:00.000000Z"
"""A clock that shows an earlier moment is wrong: this version was built later."""


class SystemClock:
    """Wall clock and steady clock of this machine."""

    def now(self) -> Instant:
        """Return this moment by both clocks."""
        return Instant(utc=_spell(datetime.now(UTC)), mono_ns=time.monotonic_ns())


class ManualClock:
    """Stands still until it is moved."""

    def __init__(self, start: datetime | None = None) -> None:
        """Begin at `start` (aware; this moment if not given), the steady clock at 0."""
        self._start = start or datetime.now(UTC)
        self._ns = 0

    def now(self) -> Instant:
        """Return the moment it has been moved to, by both clocks."""
        moment = self._start + timedelta(microseconds=self._ns // 1000)
        return Instant(utc=_spell(moment), mono_ns=self._ns)

    def advance(self, nanoseconds: int) -> None:
        """Move both clocks on."""
        if nanoseconds < 0:
            msg = "time does not run backwards"
            raise ValueError(msg)
        self._ns += nanoseconds


def _spell(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
