"""Hands messages to the viewers; a viewer who does not take them is dropped.

Everything here runs on the event loop of the view's own process, so the session never waits for a
viewer.
"""

import asyncio
import time
from collections import deque
from collections.abc import AsyncIterator
from typing import Literal

__all__ = ["MOST_VIEWERS", "Message", "Publisher"]

MOST_VIEWERS = 64
BACKLOG = 64
"""Messages waiting for one viewer before it is dropped."""
KEPT = 256
"""Pages kept for viewers who come back after a loss."""

Name = Literal["state", "head", "level", "trouble", "over"]


RETRY_MS = 500
"""After so long a browser tries again when its connection was lost."""
STALE_S = 0.2
"""An older page is told with its age, so that its timers go on from now."""


class Message:
    """One message for every viewer, spelt once as an event of the stream."""

    def __init__(self, name: Name, data: str, seq: int = 0) -> None:
        """Spell it.

        Args:
            name: of the event.
            data: JSON on one line.
            seq: number of the entry that a page stands for; 0 for other messages.
        """
        self.name, self.data, self.seq = name, data, seq
        self.made = time.monotonic()
        self._fresh = self._spelt(0)

    def event(self) -> bytes:
        """Return the event (WHATWG HTML, 9.2), a page with its age in milliseconds."""
        age_s = time.monotonic() - self.made
        return self._fresh if age_s < STALE_S else self._spelt(round(age_s * 1000))

    def _spelt(self, age_ms: int) -> bytes:
        data = f'{{"age_ms":{age_ms},"page":{self.data}}}' if self.name == "state" else self.data
        number = f"id: {self.seq}\n" if self.seq else ""
        return f"{number}event: {self.name}\nretry: {RETRY_MS}\ndata: {data}\n\n".encode()


_BESIDE: tuple[Name, ...] = ("head", "level", "trouble", "over")
"""Messages besides the page, each replaced by the next of its name."""


class Publisher:
    """Keeps the newest message of each name, and a queue for every viewer."""

    def __init__(self) -> None:
        """Start without viewers."""
        self._newest: dict[Name, Message] = {}
        self._pages: deque[Message] = deque(maxlen=KEPT)
        self._queues: set[asyncio.Queue[Message | None]] = set()
        self.dropped = 0
        """Viewers who did not keep up."""

    @property
    def viewers(self) -> int:
        """Streams that are open."""
        return len(self._queues)

    @property
    def full(self) -> bool:
        """Whether no more viewers fit."""
        return self.viewers >= MOST_VIEWERS

    def publish(self, message: Message) -> None:
        """Give a message to every viewer; one whose queue is full is dropped."""
        self._newest[message.name] = message
        if message.name == "state":
            self._pages.append(message)
        for queue in tuple(self._queues):
            self._put(queue, message)

    def close(self) -> None:
        """Tell every viewer that it is over, after what they have not read yet."""
        self.publish(Message("over", "{}"))

    def _put(self, queue: asyncio.Queue[Message | None], message: Message) -> None:
        try:
            queue.put_nowait(message)
        except asyncio.QueueFull:
            self._queues.discard(queue)
            self.dropped += 1
            queue.get_nowait()
            queue.put_nowait(None)

    async def messages(self, last_seq: int) -> AsyncIterator[Message]:
        """Yield what a viewer has missed since entry `last_seq`, then everything as it comes.

        Where too much was missed, the newest page alone is sent: it is whole in itself.

        Args:
            last_seq: the last entry the viewer saw; -1 for a new viewer.
        """
        queue: asyncio.Queue[Message | None] = asyncio.Queue(BACKLOG)
        self._queues.add(queue)
        try:
            missed = self._missed(last_seq)
            for message in missed:
                yield message
            waiting = missed[-1] if missed else None
            while waiting is None or waiting.name != "over":
                waiting = await queue.get()
                if waiting is None:
                    return
                yield waiting
        finally:
            self._queues.discard(queue)

    def _missed(self, last_seq: int) -> list[Message]:
        newest = self._newest.get("state")
        others = [self._newest[name] for name in _BESIDE if name in self._newest]
        if newest is None:
            return others
        since = [page for page in self._pages if page.seq > last_seq]
        whole = last_seq >= 0 and bool(since) and since[0].seq == last_seq + 1
        return [*(since if whole else [newest]), *others]
