"""The audio events of a session, and the queue that carries them to the listening thread."""

import queue
from dataclasses import dataclass

from assistant.ports import SAMPLE_RATE, Utterance


@dataclass(frozen=True, slots=True)
class SoundBlock:
    """50 ms of sound."""

    pcm: bytes
    """Mono 16-bit; `BLOCK_SAMPLES` long at `SAMPLE_RATE`."""
    mono_ns: int
    """Time of delivery, in nanoseconds of the monotonic clock."""
    rate: int = SAMPLE_RATE
    """Sample rate of a device that offers no other, in Hz."""


@dataclass(frozen=True, slots=True)
class AudioLost:
    """Some sound was lost at this point."""

    milliseconds: int
    """How much was lost, 0 if the system does not say."""


@dataclass(frozen=True, slots=True)
class MicrophoneLost:
    """The microphone stopped delivering sound."""

    reason: str
    """What happened, as one sentence for the user."""


@dataclass(frozen=True, slots=True)
class MicrophoneBack:
    """The microphone delivers sound again."""

    name: str
    """The device that was opened."""


@dataclass(frozen=True, slots=True)
class SpeakerLost:
    """The loudspeaker was lost."""

    reason: str
    """What happened, as one sentence for the user."""


@dataclass(frozen=True, slots=True)
class SpeakerBack:
    """The loudspeaker plays again."""

    name: str
    """Voice and device, as written to the record."""


@dataclass(frozen=True, slots=True)
class SoundEnded:
    """A file has been read to its end."""


SoundItem = SoundBlock | AudioLost | MicrophoneLost | MicrophoneBack | SoundEnded
"""Any item that a sound source delivers."""

DeviceReport = AudioLost | MicrophoneLost | MicrophoneBack | SoundEnded | SpeakerLost | SpeakerBack
"""Any status report of a device."""

QueueItem = SoundBlock | DeviceReport | Utterance
"""Any input to a session from outside; an utterance here was typed or is a key press."""


class SoundQueue:
    """An unbounded queue that reports its backlog to the microphone."""

    def __init__(self) -> None:
        """Start empty."""
        self._items: queue.SimpleQueue[QueueItem] = queue.SimpleQueue()

    def put(self, item: QueueItem) -> None:
        """Append without waiting."""
        self._items.put(item)

    def get(self, timeout: float) -> QueueItem | None:
        """Return the next item, or None if none arrives within `timeout` seconds."""
        try:
            return self._items.get(timeout=timeout)
        except queue.Empty:
            return None

    def backlog(self) -> int:
        """Return the number of waiting items."""
        return self._items.qsize()
