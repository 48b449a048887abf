"""Monitors beside the phrases: timers, keys, the end of a remark, wall clock, room noise."""

from datetime import datetime

from assistant.clock import BUILT
from assistant.ports import Instant
from assistant.procedure.effects import StartTimer
from assistant.procedure.events import ClockStepped, NoiseRose, TimerRang

CLOCK_STEP_S = 2.0
NOISE_RISE_DB = 6.0
NOISE_LASTS_S = 20.0
SETTLE_S = 10.0
"""Without a sound check, the room's floor is taken from this long after the start."""
BLOCK_S = 0.05
"""Seconds in one block of sound."""
KEY_APART_NS = 400_000_000
"""Presses closer than this are one that is held."""
KEY_AFTER_PROMPT_NS = 1_000_000_000
"""A key this soon after a prompt began was not meant for it: the first repeat of a held key comes
after 0.25 to 0.66 s."""
_LOUD_DB = 8.0
_PAUSE_S = 1.8
_PATIENCE_S = 8.0


class Timers:
    """Started by effects, asked at every tick which have run out."""

    def __init__(self) -> None:
        """None is running."""
        self._running: list[tuple[int, StartTimer]] = []

    def start(self, effect: StartTimer, now_ns: int) -> None:
        """Let one run from now."""
        self._running.append((now_ns + effect.milliseconds * 1_000_000, effect))

    def stop(self) -> None:
        """Forget all."""
        self._running.clear()

    def due(self, now_ns: int) -> list[TimerRang]:
        """Take out those that have run out, earliest first."""
        rung = sorted((t for t in self._running if t[0] <= now_ns), key=lambda t: t[0])
        self._running = [t for t in self._running if t[0] > now_ns]
        return [TimerRang(timer=e.timer, generation=e.generation) for _, e in rung]

    def left_s(self, now_ns: int) -> float | None:
        """Seconds until the next one runs out, None when none is running."""
        return min(((end - now_ns) / 1e9 for end, _ in self._running), default=None)


class RemarkWatch:
    """Follows the level while a remark is taken."""

    def __init__(self, limit_s: float) -> None:
        """Wait for at most `limit_s` seconds."""
        self._limit_s = limit_s
        self._elapsed = 0.0
        self._quiet = 0.0
        self._spoke = False

    @property
    def seconds(self) -> float:
        """How long it has been taken."""
        return self._elapsed

    def over(self, level_dbfs: float, floor_dbfs: float) -> bool:
        """Take the levels of one block of 50 ms and say whether the remark has ended."""
        self._elapsed += BLOCK_S
        if level_dbfs > floor_dbfs + _LOUD_DB:
            self._spoke, self._quiet = True, 0.0
        else:
            self._quiet += BLOCK_S
        patience = _PAUSE_S if self._spoke else _PATIENCE_S
        return self._quiet >= patience or self._elapsed >= self._limit_s


class KeyWatch:
    """Tells the presses of a key from the repeats of one that is held."""

    def __init__(self) -> None:
        """No key has been pressed."""
        self._last_ns: int | None = None

    def pressed(self, now_ns: int) -> bool:
        """Take a key and say whether it is a press of its own.

        A terminal does not report a release; a key that is held repeats much faster than anybody
        presses twice.
        """
        last, self._last_ns = self._last_ns, now_ns
        return last is None or now_ns - last >= KEY_APART_NS


class ClockWatch:
    """Compares the wall clock with the steady one: it may neither jump nor creep away."""

    def __init__(self) -> None:
        """Know no moment yet."""
        self._offset: float | None = None

    def look(self, now: Instant) -> ClockStepped | None:
        """Say by how much the wall clock has moved since it was last reported, if it has."""
        offset = datetime.fromisoformat(now.utc).timestamp() - now.mono_ns / 1e9
        if self._offset is None:
            self._offset = offset
        moved = offset - self._offset
        if abs(moved) <= CLOCK_STEP_S:
            return None
        self._offset = offset
        return ClockStepped(seconds=f"{moved:.3f}")


def clock_behind(now: Instant, last_utc: str) -> ClockStepped | None:
    """Say by how much the wall clock is behind a moment that has certainly passed, if it is.

    Args:
        now: the moment of starting.
        last_utc: of the last entry on record, "" without any.
    """
    passed = max(last_utc, BUILT)
    behind = datetime.fromisoformat(now.utc) - datetime.fromisoformat(passed)
    if behind.total_seconds() >= -CLOCK_STEP_S:
        return None
    return ClockStepped(seconds=f"{behind.total_seconds():.3f}")


class NoiseWatch:
    """Reports once when the noise floor has risen for good, and again after it fell back."""

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
