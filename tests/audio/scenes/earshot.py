"""An ear in a thread of its own, fed from a microphone, for the scenes without a session."""

import queue
import threading
from collections.abc import Callable

from assistant.speech.audio_events import SoundBlock, SoundItem
from assistant.speech.listening_pipeline import Ear


class Deeds:
    """A queue of what a microphone delivers, and of deeds to be done in between."""

    def __init__(self) -> None:
        """Start empty."""
        self._items: queue.SimpleQueue[SoundItem | Callable[[], None]] = queue.SimpleQueue()

    def put(self, item: SoundItem | Callable[[], None]) -> None:
        """Append without waiting."""
        self._items.put(item)

    def get(self, timeout: float) -> SoundItem | Callable[[], None] | None:
        """Return the next item, None when none came for `timeout` seconds."""
        try:
            return self._items.get(timeout=timeout)
        except queue.Empty:
            return None

    def backlog(self) -> int:
        """Return how many items wait."""
        return self._items.qsize()


class Earshot:
    """Feeds an ear with what a microphone puts into `queue`; keeps what comes of it."""

    def __init__(self, ear: Ear) -> None:
        """Listen from now on; nobody else may feed the ear."""
        self.queue = Deeds()
        self.heard: list[tuple[str, str, str]] = []
        """Decision, text and reason of each utterance."""
        self.other: list[object] = []
        """What the microphone reported besides sound."""
        self._ear = ear
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def tell(self, deed: Callable[[], None]) -> None:
        """Let the ear do something at this place in the sound, such as shut its gate."""
        self.queue.put(deed)

    def _listen(self) -> None:
        while not self._ended.is_set():
            item = self.queue.get(0.1)
            if isinstance(item, SoundBlock):
                verdicts = self._ear.feed(item.pcm)
                self.heard += [(each.decision, each.text, each.reason) for each in verdicts]
            elif callable(item):
                item()
            elif item is not None:
                self.other.append(item)

    def close(self) -> None:
        """Stop listening."""
        self._ended.set()
        self._thread.join()
