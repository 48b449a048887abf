"""The microphone: a stream whose callback only copies and enqueues, and a watchdog beside it.

Lost sound, a lost device and its return are items in the same queue as the sound, in order of
occurrence. A gap is never closed silently.
"""

import threading
import time
from collections.abc import Callable
from typing import Any

from assistant.errors import DeviceError
from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE
from assistant.speech.audio_events import (
    AudioLost,
    MicrophoneBack,
    MicrophoneLost,
    SoundBlock,
    SoundItem,
)
from assistant.speech.devices import Device, SoundSystem, within
from assistant.speech.watchdog import Watchdog

QUEUED_BLOCKS = 200
"""Ten seconds; beyond this backlog, sound is dropped and reported as lost."""

_BLOCK_MS = 1000 * BLOCK_SAMPLES // SAMPLE_RATE
_CHECK_S = 0.1
_RETRY_S = 1.0
_CLOSE_S = 2.0


class Microphone:
    """Delivers blocks of 50 ms into a queue until closed, across losses of the device."""

    def __init__(
        self,
        system: SoundSystem,
        deliver: Callable[[SoundItem], None],
        *,
        wanted: str = "",
        backlog: Callable[[], int] = lambda: 0,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """Choose the device; recording begins with `start`.

        Args:
            system: the audio library.
            deliver: called with every item, on the audio thread; must neither block nor fail, like
                `put_nowait` of an unbounded queue.
            wanted: name and host interface of the device, or some of the words; "" is the default.
            backlog: returns the number of waiting items; beyond `QUEUED_BLOCKS` sound is dropped.
            clock: monotonic seconds.

        Raises:
            DeviceError: no such microphone.
        """
        self._system = system
        self._deliver = deliver
        self._device = system.find("input", wanted)
        self._backlog = backlog
        self._clock = clock
        self._watchdog = Watchdog(opened=clock())
        self._stream: Any = None
        self._dropped_ms = 0
        self._stop = threading.Event()
        self._guard: threading.Thread | None = None

    @property
    def name(self) -> str:
        """Device and host interface, as written to the record."""
        return self._device.label

    @property
    def latency_ms(self) -> float | None:
        """Input latency as reported by the system, None while closed."""
        stream = self._stream
        return None if stream is None else float(stream.latency) * 1000.0

    @property
    def busy(self) -> bool:
        """Never busy; a gap is reported, and the stream is reopened."""
        return False

    def start(self) -> None:
        """Open the device and start delivering.

        Raises:
            DeviceError: the device cannot be opened.
        """
        self._system.join(self)
        self._open(self._device, again=False)
        self._guard = threading.Thread(target=self._watch, name="microphone", daemon=True)
        self._guard.start()

    def close(self) -> None:
        """Stop delivering and release the device; returns even if the sound server hangs."""
        self._stop.set()
        if self._guard is not None:
            self._guard.join(_CLOSE_S)
        self.let_go()
        self._system.leave(self)

    def let_go(self) -> None:
        """Close the stream; the watchdog reopens it."""
        stream, self._stream = self._stream, None
        if stream is not None:
            within(_CLOSE_S, lambda: _close(stream))

    def _open(self, device: Device, *, again: bool) -> None:
        """Open a device; delivery starts with the first block that is not silent."""
        watchdog, library = Watchdog(opened=self._clock()), self._system.library
        back = MicrophoneBack(device.label) if again else None

        def take(indata: Any, _frames: int, _time: object, status: Any) -> None:  # noqa: ANN401 - library types
            nonlocal back
            pcm = bytes(indata)
            watchdog.block(self._clock(), zeros=pcm.count(0) == len(pcm))
            if not watchdog.heard:
                return
            if back is not None:
                self._deliver(back)
                back = None
            self._take(pcm, rate, overflow=bool(status.input_overflow))

        def finished() -> None:
            watchdog.finished = True

        for rate in dict.fromkeys((SAMPLE_RATE, device.default_rate)):
            try:
                stream = library.RawInputStream(
                    samplerate=rate,
                    blocksize=BLOCK_SAMPLES * rate // SAMPLE_RATE,
                    device=device.index,
                    channels=1,
                    dtype="int16",
                    callback=take,
                    finished_callback=finished,
                )
                stream.start()
            except library.PortAudioError as fault:
                trouble = fault
                continue
            self._watchdog, self._stream, self._device = watchdog, stream, device
            return
        raise DeviceError(
            f"The microphone {device.label} cannot record ({trouble}); choose another one, or the"
            " entry of the system's sound server"
        ) from trouble

    def _take(self, pcm: bytes, rate: int, *, overflow: bool) -> None:
        """Forward one block; runs in the audio thread."""
        if self._backlog() >= QUEUED_BLOCKS:
            self._dropped_ms += _BLOCK_MS
            return
        if overflow or self._dropped_ms:
            lost, self._dropped_ms = self._dropped_ms, 0
            self._deliver(AudioLost(lost))
        self._deliver(SoundBlock(pcm, time.monotonic_ns(), rate))

    def _watch(self) -> None:
        """Report a lost device once, then try to reopen it until closed."""
        while not self._stop.wait(_CHECK_S):
            fault = self._watchdog.fault(self._clock())
            if fault is None:
                continue
            self._deliver(MicrophoneLost(f"The microphone {self.name} is lost: {fault}"))
            self.let_go()
            while not self._stop.wait(_RETRY_S):
                if self._reopened():
                    break

    def _reopened(self) -> bool:
        """Try once to reopen the same device, and wait until it delivers sound."""
        try:
            self._system.refresh()
            self._open(self._system.find("input", self._device.label), again=True)
        except DeviceError:
            return False
        while not self._watchdog.heard:
            if self._stop.wait(_CHECK_S):
                return True
            if self._watchdog.fault(self._clock()) is not None:
                self.let_go()
                return False
        return True


def _close(stream: Any) -> None:  # noqa: ANN401 - library type
    stream.abort(ignore_errors=True)
    stream.close(ignore_errors=True)
