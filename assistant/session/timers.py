"""The procedure's timers, kept against the steady clock of whoever runs the session."""

from assistant.procedure.effects import StartTimer
from assistant.procedure.events import TimerRang


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
