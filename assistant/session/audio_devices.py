"""The devices of a live session, opened as requested and always closed."""

import contextlib
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant.ports import Speaker
from assistant.session.sound_check import Delays
from assistant.speech.audio_events import SoundEnded, SoundQueue, SpeakerBack, SpeakerLost
from assistant.speech.devices import SoundSystem
from assistant.speech.files import blocks_of, read_sound
from assistant.speech.keyboard import KeyboardReader
from assistant.speech.library_chatter import chatter_kept_out
from assistant.speech.loudspeaker import LoudSpeaker, TextOnlySpeaker
from assistant.speech.microphone import Microphone
from assistant.speech.tts import Voice


@dataclass(frozen=True, slots=True)
class Wanted:
    """Devices requested for a session."""

    audio: Path | None = None
    """A sound file instead of the microphone."""
    microphone: str = ""
    """Words of the device's name; "" is the system's default."""
    speaker: str = ""
    keyboard_only: bool = False
    silent: bool = False
    """Whether prompts are shown as text only."""
    confirm_key: str = "\n"
    echoed: bool = False
    """Whether somebody else shows what is typed, so that the terminal must not."""


class Devices:
    """The opened devices; `connect` starts delivery."""

    def __init__(self, wanted: Wanted) -> None:
        """Open the requested devices.

        Raises:
            DeviceError: no PortAudio, no microphone, no loudspeaker, no voice; says what to do.
            InputError: the sound file cannot be used.
        """
        self.queue = SoundQueue()
        self._sound = read_sound(wanted.audio) if wanted.audio else None
        quiet = wanted.silent or wanted.audio is not None
        listens = wanted.audio is None and not wanted.keyboard_only
        system = SoundSystem() if listens or not quiet else None
        self._microphone: Microphone | None = None
        self.speaker: Speaker = TextOnlySpeaker()
        self._loud: LoudSpeaker | None = None
        if system is not None and listens:
            self._microphone = Microphone(
                system, self.queue.put, wanted=wanted.microphone, backlog=self.queue.backlog
            )
        if system is not None and not quiet:
            self.speaker = self._loud = LoudSpeaker(
                Voice(),
                system,
                wanted=wanted.speaker,
                on_lost=lambda reason: self.queue.put(SpeakerLost(reason)),
                on_back=lambda name: self.queue.put(SpeakerBack(name)),
            )
        self._keyboard: KeyboardReader | None = None
        if wanted.audio is None:
            self._keyboard = KeyboardReader(
                sys.stdin,
                self.queue.put,
                confirm_key=wanted.confirm_key,
                by_key=wanted.echoed,
                on_end=self._typing_ended if wanted.keyboard_only else _nothing,
            )
        self.microphone_name = _name(wanted, self._microphone)

    def start(self) -> None:
        """Start delivery from microphone and keyboard.

        Raises:
            DeviceError: the microphone cannot be opened.
        """
        if self._microphone is not None:
            self._microphone.start()
        if self._keyboard is not None:
            self._keyboard.start()

    def delays(self) -> Delays:
        """The known delays of the open devices."""
        microphone = self._microphone.latency_ms if self._microphone is not None else None
        speaker = self._loud.latency_ms if self._loud is not None else None
        return Delays(microphone, speaker)

    @property
    def typed(self) -> str:
        """What is being typed, where the terminal does not show it."""
        return self._keyboard.typed if self._keyboard is not None else ""

    def _typing_ended(self) -> None:
        """Without a microphone nothing more can come in."""
        self.queue.put(SoundEnded())

    def blocks(self) -> Iterable[bytes] | None:
        """The sound file in blocks of 50 ms, None for a microphone or keyboard."""
        return None if self._sound is None else blocks_of(self._sound)

    def close(self) -> None:
        """Release everything; returns even if the sound server hangs."""
        if self._keyboard is not None:
            self._keyboard.stop()
        if self._microphone is not None:
            self._microphone.close()
        if self._loud is not None:
            self._loud.close()


def _nothing() -> None:
    """With a microphone the work goes on when the terminal is gone."""


def _name(wanted: Wanted, microphone: Microphone | None) -> str:
    if wanted.audio is not None:
        return f"file {wanted.audio.name}"
    return microphone.name if microphone is not None else "keyboard"


@contextlib.contextmanager
def open_devices(wanted: Wanted) -> Iterator[Devices]:
    """Open the devices and release them at the end, even after an error.

    Raises:
        DeviceError, InputError: as for `Devices`.
    """
    with chatter_kept_out():
        devices = Devices(wanted)
        try:
            yield devices
        finally:
            devices.close()


def loudspeaker() -> LoudSpeaker:
    """The system's loudspeaker with the program's voice, for rehearsals and replays.

    Raises:
        DeviceError: no PortAudio, no loudspeaker or no voice; says what to do.
    """
    return LoudSpeaker(Voice(), SoundSystem())
