"""The audio events of a session, and the queue that carries them to the thread that listens."""

import queue
from dataclasses import dataclass

from assistant.ports import SAMPLE_RATE, Utterance


@dataclass(frozen=True, slots=True)
class SoundBlock:
    """50 ms of sound."""

    pcm: bytes
    """Mono 16-bit; `BLOCK_SAMPLES` long at `SAMPLE_RATE`."""
    mono_ns: int
    """When it was handed over, in nanoseconds of the monotonic clock."""
    rate: int = SAMPLE_RATE
    """Samples per second, where a device offers no other."""


@dataclass(frozen=True, slots=True)
class AudioLost:
    """Sound is missing here."""

    milliseconds: int
    """How much, 0 when the system does not say."""


@dataclass(frozen=True, slots=True)
class MicrophoneLost:
    """No sound comes any more."""

    reason: str
    """One clear sentence."""


@dataclass(frozen=True, slots=True)
class MicrophoneBack:
    """Sound comes again."""

    name: str
    """The device that was opened."""


@dataclass(frozen=True, slots=True)
class SpeakerLost:
    """The loudspeaker went away."""

    reason: str
    """One clear sentence."""


@dataclass(frozen=True, slots=True)
class SpeakerBack:
    """The loudspeaker plays again."""

    name: str
    """Voice and device, as they go on record."""


@dataclass(frozen=True, slots=True)
class SoundEnded:
    """A file has been read to its end."""


SoundItem = SoundBlock | AudioLost | MicrophoneLost | MicrophoneBack | SoundEnded
"""Anything that a source of sound passes on."""

DeviceReport = AudioLost | MicrophoneLost | MicrophoneBack | SoundEnded | SpeakerLost | SpeakerBack
"""Anything that a device tells of itself."""

QueueItem = SoundBlock | DeviceReport | Utterance
"""Anything that reaches a session from outside; an utterance was typed, or is a key press."""


class SoundQueue:
    """An unbounded queue, with the backlog that the microphone asks for."""

    def __init__(self) -> None:
        """Start empty."""
        self._items: queue.SimpleQueue[QueueItem] = queue.SimpleQueue()

    def put(self, item: QueueItem) -> None:
        """Append without waiting."""
        self._items.put(item)

    def get(self, timeout: float) -> QueueItem | None:
        """Return the next item, None when none came for `timeout` seconds."""
        try:
            return self._items.get(timeout=timeout)
        except queue.Empty:
            return None

    def backlog(self) -> int:
        """Return how many items wait."""
        return self._items.qsize()
