"""The queue between whatever delivers sound and the thread that listens."""

import queue


class SoundQueue:
    """An unbounded queue of items, with the backlog that the microphone asks for."""

    def __init__(self) -> None:
        """Start empty."""
        self._items: queue.SimpleQueue[object] = queue.SimpleQueue()

    def put(self, item: object) -> None:
        """Append without waiting."""
        self._items.put(item)

    def get(self, timeout: float) -> object | None:
        """Return the next item, None when none came for `timeout` seconds."""
        try:
            return self._items.get(timeout=timeout)
        except queue.Empty:
            return None

    def backlog(self) -> int:
        """Return how many items wait."""
        return self._items.qsize()
