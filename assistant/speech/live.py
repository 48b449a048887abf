"""The ear at work: one thread takes sound from a queue, listens, and delivers what it decides.

Prompts and clips are announced through the same queue as the sound, so that the gate shuts and
opens at the right place in the sound even while a decision takes its time.
"""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Verdict
from assistant.speech.ear import Ear
from assistant.speech.files import blocks_of, read_sound
from assistant.speech.resample import ProgramRate
from assistant.speech.signals import (
    AudioLost,
    MicrophoneBack,
    MicrophoneLost,
    SoundBlock,
    SoundEnded,
    SoundItem,
)
from assistant.speech.soundqueue import SoundQueue

_IDLE_S = 0.2
_BLOCK_S = BLOCK_SAMPLES / SAMPLE_RATE


@dataclass(frozen=True, slots=True)
class Clip:
    """A spoken remark, whole."""

    pcm: bytes
    """Mono 16-bit at `SAMPLE_RATE`."""


@dataclass(frozen=True, slots=True)
class _PromptStarted:
    pass


@dataclass(frozen=True, slots=True)
class _PromptEnded:
    pass


@dataclass(frozen=True, slots=True)
class _ClipStarted:
    seconds: float


@dataclass(frozen=True, slots=True)
class _ClipStopped:
    pass


EarReport = Verdict | Clip | AudioLost | MicrophoneLost | MicrophoneBack | SoundEnded
"""Anything the ear delivers."""


class LiveEar:
    """Runs an `Ear` in a thread of its own; all methods may be called from any thread."""

    def __init__(self, ear: Ear, deliver: Callable[[EarReport], None]) -> None:
        """Set the ear; nothing is heard before `start`.

        Args:
            ear: listens; nobody else may feed it.
            deliver: takes each verdict and signal, from the ear's thread.
        """
        self._ear = ear
        self._deliver = deliver
        self.queue = SoundQueue()
        """Where a microphone or a file puts its items."""
        self._rate = ProgramRate()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="ear", daemon=True)

    @property
    def level_dbfs(self) -> float:
        """Level of the last block listened to, in dB relative to full scale."""
        return self._ear.level_dbfs

    @property
    def floor_dbfs(self) -> float:
        """Level of the room's noise, in dB relative to full scale."""
        return self._ear.floor_dbfs

    def start(self) -> None:
        """Listen from now on."""
        self._thread.start()

    def close(self) -> None:
        """Stop after the item in hand; what still waits is dropped."""
        self._stop.set()
        self._thread.join()

    def prompt_started(self) -> None:
        """Shut the gate from here on."""
        self.queue.put(_PromptStarted())

    def prompt_ended(self) -> None:
        """Open the gate after the tail; to be called at the real end of the prompt."""
        self.queue.put(_PromptEnded())

    def start_clip(self, seconds: float) -> None:
        """Keep the sound from here on, at most so many seconds, for a remark."""
        self.queue.put(_ClipStarted(seconds))

    def stop_clip(self) -> None:
        """End the remark here; it is delivered as a `Clip`."""
        self.queue.put(_ClipStopped())

    def _run(self) -> None:
        while not self._stop.is_set():
            item = self.queue.get(_IDLE_S)
            if item is not None:
                self._handle(item)

    def _handle(self, item: object) -> None:
        match item:
            case SoundBlock():
                for block in self._rate.blocks(item):
                    self._report(self._ear.feed(block))
            case _PromptStarted():
                self._ear.prompt_started()
            case _PromptEnded():
                self._ear.prompt_ended()
            case _ClipStarted(seconds=seconds):
                self._ear.start_clip(seconds)
            case _ClipStopped():
                self._deliver(Clip(self._ear.stop_clip()))
            case AudioLost() | MicrophoneLost():
                self._ear.sound_lost()
                self._deliver(item)
            case MicrophoneBack():
                self._ear.microphone_changed()
                self._deliver(item)
            case SoundEnded():
                self._report(self._ear.finish())
                self._deliver(item)
            case _:
                raise TypeError(f"{item!r} is nothing that an ear can take")

    def _report(self, verdicts: list[Verdict]) -> None:
        for verdict in verdicts:
            self._deliver(verdict)


class FilePlayer:
    """Delivers a sound file at the pace at which it was spoken, as a microphone would."""

    def __init__(
        self, path: Path, deliver: Callable[[SoundItem], None], *, paced: bool = True
    ) -> None:
        """Read the file; nothing is delivered before `start`.

        Args:
            path: WAV or FLAC, 16 bits, 16 kHz.
            deliver: takes each item, from the player's thread.
            paced: keep to real time; otherwise deliver as fast as possible.

        Raises:
            InputError: the file cannot be used.
            DeviceError: the package soundfile cannot be loaded.
        """
        self._path = path
        self._pcm = read_sound(path)
        self._deliver = deliver
        self._paced = paced
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="file", daemon=True)

    @property
    def name(self) -> str:
        """The file, as it goes on record."""
        return f"file {self._path.name}"

    def start(self) -> None:
        """Deliver from now on."""
        self._thread.start()

    def close(self) -> None:
        """Deliver nothing more."""
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        began = time.monotonic()
        for number, block in enumerate(blocks_of(self._pcm), start=1):
            wait = began + number * _BLOCK_S - time.monotonic() if self._paced else 0.0
            if self._stop.wait(max(wait, 0.0)):
                return
            self._deliver(SoundBlock(block, time.monotonic_ns()))
        self._deliver(SoundEnded())
