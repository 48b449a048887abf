"""An independent pipeline at the virtual loudspeaker, for the scenes that play."""

import subprocess
import threading
import time

import numpy as np

_CHUNK = 160
_LOUD = 100


class Listener:
    """Records what arrives at the sink `speaker`, with the time of every 10 ms."""

    def __init__(self, env: dict[str, str] | None = None) -> None:
        """Start to record and wait until sound arrives.

        Args:
            env: names the sound server; this process's own environment if not given.
        """
        self.last_loud = 0.0
        """When a loud piece arrived last, in seconds of the monotonic clock."""
        self._chunks: list[tuple[float, int]] = []
        record = "parec --device=speaker.monitor --format=s16le --rate=16000 --channels=1 --raw"
        self._process = subprocess.Popen(
            [*record.split(), "--latency-msec=10"], env=env, stdout=subprocess.PIPE
        )
        self._thread = threading.Thread(target=self._record, daemon=True)
        self._thread.start()
        deadline = time.monotonic() + 10
        while not self._chunks and time.monotonic() < deadline:
            time.sleep(0.01)

    def _record(self) -> None:
        assert self._process.stdout is not None
        while chunk := self._process.stdout.read(2 * _CHUNK):
            peak = int(np.abs(np.frombuffer(chunk, "<i2").astype(int)).max())
            self._chunks.append((time.monotonic(), peak))
            if peak > _LOUD:
                self.last_loud = self._chunks[-1][0]

    def loud_times(self, since: float, until: float = float("inf")) -> list[float]:
        """Return when loud pieces arrived between two moments of the monotonic clock."""
        return [at for at, peak in tuple(self._chunks) if peak > _LOUD and since <= at <= until]

    def silent_pieces(self, since: float) -> int:
        """Count the pieces of 10 ms without sound between the first loud one and the last."""
        loud = self.loud_times(since)
        within = [peak for at, peak in tuple(self._chunks) if loud[0] < at < loud[-1]]
        return sum(peak <= _LOUD for peak in within)

    def close(self) -> None:
        """Stop recording."""
        self._process.terminate()
        self._process.wait()
        self._thread.join()
        if self._process.stdout is not None:
            self._process.stdout.close()
