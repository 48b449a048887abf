"""Monitors: timers, keys, the end of a remark, wall clock, room noise."""

from datetime import datetime

from assistant.clock import BUILT
from assistant.ports import Instant
from assistant.procedure.effects import StartTimer
from assistant.procedure.events import ClockStepped, NoiseRose, TimerRang

CLOCK_STEP_S = 2.0
NOISE_RISE_DB = 6.0
NOISE_LASTS_S = 20.0
SETTLE_S = 10.0
"""Without a sound check, the noise floor is measured this long after the start."""
BLOCK_S = 0.05
"""Seconds in one block of sound."""
KEY_APART_NS = 400_000_000
"""Key presses closer together than this are repeats of a held key."""
KEY_AFTER_PROMPT_NS = 1_000_000_000
"""A key press this soon after the start of a prompt is not an answer to it: the first repeat of a
held key comes after 0.25 to 0.66 s."""
_LOUD_DB = 8.0
_PAUSE_S = 1.8
_PATIENCE_S = 8.0


class Timers:
    """Timers started by effects and checked at every tick."""

    def __init__(self) -> None:
        """Start with no timer running."""
        self._running: list[tuple[int, StartTimer]] = []

    def start(self, effect: StartTimer, now_ns: int) -> None:
        """Start a timer."""
        self._running.append((now_ns + effect.milliseconds * 1_000_000, effect))

    def stop(self) -> None:
        """Cancel all timers."""
        self._running.clear()

    def due(self, now_ns: int) -> list[TimerRang]:
        """Remove and return the expired timers, earliest first."""
        rung = sorted((t for t in self._running if t[0] <= now_ns), key=lambda t: t[0])
        self._running = [t for t in self._running if t[0] > now_ns]
        return [TimerRang(timer=e.timer, generation=e.generation) for _, e in rung]

    def left_s(self, now_ns: int) -> float | None:
        """Seconds until the next timer expires, None if none is running."""
        return min(((end - now_ns) / 1e9 for end, _ in self._running), default=None)


class RemarkWatch:
    """Watches the level while a remark is recorded."""

    def __init__(self, limit_s: float) -> None:
        """Wait for at most `limit_s` seconds."""
        self._limit_s = limit_s
        self._elapsed = 0.0
        self._quiet = 0.0
        self._spoke = False

    @property
    def seconds(self) -> float:
        """Duration so far, in seconds."""
        return self._elapsed

    def over(self, level_dbfs: float, floor_dbfs: float) -> bool:
        """Process the levels of one block of 50 ms; return whether the remark has ended."""
        self._elapsed += BLOCK_S
        if level_dbfs > floor_dbfs + _LOUD_DB:
            self._spoke, self._quiet = True, 0.0
        else:
            self._quiet += BLOCK_S
        patience = _PAUSE_S if self._spoke else _PATIENCE_S
        return self._quiet >= patience or self._elapsed >= self._limit_s


class KeyWatch:
    """Distinguishes key presses from the repeats of a held key."""

    def __init__(self) -> None:
        """Start without a previous press."""
        self._last_ns: int | None = None

    def pressed(self, now_ns: int) -> bool:
        """Process a key; return whether it is a separate press.

        A terminal does not report a release; a held key repeats much faster than anyone can
        press twice.
        """
        last, self._last_ns = self._last_ns, now_ns
        return last is None or now_ns - last >= KEY_APART_NS


class ClockWatch:
    """Compares the wall clock with the steady clock, to detect steps and drift."""

    def __init__(self) -> None:
        """Start without a reference time."""
        self._offset: float | None = None

    def look(self, now: Instant) -> ClockStepped | None:
        """Return how far the wall clock has moved since the last report, if it has."""
        offset = datetime.fromisoformat(now.utc).timestamp() - now.mono_ns / 1e9
        if self._offset is None:
            self._offset = offset
        moved = offset - self._offset
        if abs(moved) <= CLOCK_STEP_S:
            return None
        self._offset = offset
        return ClockStepped(seconds=f"{moved:.3f}")


def clock_moved(now: Instant, last: Instant) -> ClockStepped | None:
    """Return how far the wall clock has moved since the last entry, if it has.

    A machine that slept meanwhile shows as moved: its steady clock may have stood still.

    Args:
        now: time of the start.
        last: time of the last entry, by the same steady clock: the machine was not started anew.
    """
    passed = datetime.fromisoformat(now.utc) - datetime.fromisoformat(last.utc)
    moved = passed.total_seconds() - (now.mono_ns - last.mono_ns) / 1e9
    return ClockStepped(seconds=f"{moved:.3f}") if abs(moved) > CLOCK_STEP_S else None


def clock_behind(now: Instant, last_utc: str) -> ClockStepped | None:
    """Return how far the wall clock is behind a time that has certainly passed, if it is.

    Args:
        now: time of the start.
        last_utc: UTC of the last recorded entry, "" if there is none.
    """
    passed = max(last_utc, BUILT)
    behind = datetime.fromisoformat(now.utc) - datetime.fromisoformat(passed)
    if behind.total_seconds() >= -CLOCK_STEP_S:
        return None
    return ClockStepped(seconds=f"{behind.total_seconds():.3f}")


class NoiseWatch:
    """Reports a lasting rise of the noise floor once, and again only after it fell back."""

    def __init__(self, floor_dbfs: float | None = None) -> None:
        """Use the noise floor of the sound check, or that of the first seconds."""
        self._base = floor_dbfs
        self._since: int | None = None
        self._began: int | None = None
        self._told = False

    def look(self, floor_dbfs: float, now: Instant) -> NoiseRose | None:
        """Process the current noise floor, in dB relative to full scale."""
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
