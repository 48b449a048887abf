"""What is watched during the work besides phrases: the wall clock, and the noise of the room."""

from datetime import datetime

from assistant.ports import Instant
from assistant.procedure.events import ClockStepped, NoiseRose

CLOCK_STEP_S = 2.0
NOISE_RISE_DB = 6.0
NOISE_LASTS_S = 20.0
SETTLE_S = 10.0
"""Without a sound check, the room's floor is taken from this long after the start."""


class ClockWatch:
    """Compares the wall clock with the steady one."""

    def __init__(self) -> None:
        """Know no moment yet."""
        self._offset: float | None = None

    def look(self, now: Instant) -> ClockStepped | None:
        """Say by how much the wall clock jumped since the last look, if it did."""
        offset = datetime.fromisoformat(now.utc).timestamp() - now.mono_ns / 1e9
        before, self._offset = self._offset, offset
        if before is None or abs(offset - before) <= CLOCK_STEP_S:
            return None
        return ClockStepped(seconds=f"{offset - before:.3f}")


class NoiseWatch:
    """Tells once when the noise floor has risen for good, and again after it had fallen back."""

    def __init__(self, floor_dbfs: float | None = None) -> None:
        """Compare with the sound check's floor, or with that of the first seconds."""
        self._base = floor_dbfs
        self._since: int | None = None
        self._began: int | None = None
        self._told = False

    def look(self, floor_dbfs: float, now: Instant) -> NoiseRose | None:
        """Take the present floor, in dB relative to full scale."""
        if self._began is None:
            self._began = now.mono_ns
        if self._base is None:
            if (now.mono_ns - self._began) / 1e9 >= SETTLE_S:
                self._base = floor_dbfs
            return None
        rise = floor_dbfs - self._base
        if rise < NOISE_RISE_DB:
            self._since, self._told = None, False
            return None
        self._since = self._since if self._since is not None else now.mono_ns
        if self._told or (now.mono_ns - self._since) / 1e9 < NOISE_LASTS_S:
            return None
        self._told = True
        return NoiseRose(noise_dbfs=f"{floor_dbfs:.1f}", rise_db=f"{rise:.1f}")
