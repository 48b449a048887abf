"""What the microphone passes on, as values: sound, gaps in it, and its own fate."""

from dataclasses import dataclass

from assistant.ports import SAMPLE_RATE


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
