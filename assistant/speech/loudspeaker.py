"""Loudspeaker: plays one rendered sentence at a time and can be stopped at once.

The stream stays open between sentences, since sleeping outputs swallow first syllables and opening
takes time. The callback only copies; when a sentence has been played or cut, the speaker's own
thread calls `done`.
"""

import contextlib
import os
import queue
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from assistant.errors import DeviceError
from assistant.ports import SAMPLE_RATE, Tone
from assistant.speech.devices import Device, SoundSystem, within
from assistant.speech.pcm import BYTES_PER_SAMPLE
from assistant.speech.resample import resampled
from assistant.speech.tts import Voice

_CLOSE_S = 2.0
_CHECK_S = 0.1
_OVERDUE_S = 3.0
_LONGEST_WAIT_S = 1.0
_HELD_S = 0.4
"""Device buffer on Linux: a busy recogniser can delay the callback by 0.3 s. Not tested on other
systems, where a device that cannot restart with each sentence would add this latency."""


@dataclass(slots=True)
class _Sentence:
    """One sentence being played; the callback advances `at`."""

    pcm: bytes
    done: Callable[[], None]
    asked_ns: int
    deadline: float
    at: int = 0
    begun_ns: int = 0
    first_ns: int | None = None
    sounded: float | None = None
    """Time at which its last sample leaves the device, in seconds of the stream's clock."""
    told: bool = False


class TextOnlySpeaker:
    """A `Speaker` without sound: the prompt is shown on the screen and is done at once."""

    @property
    def name(self) -> str:
        """The name written to the record."""
        return "text only"

    def say(self, text: str, done: Callable[[], None], tone: Tone | None = None) -> None:  # noqa: ARG002 - shown by the console
        """Call `done` at once; the console shows the text."""
        done()

    def silence(self) -> None:
        """Do nothing."""


class LoudSpeaker:
    """A `Speaker` on an output device; `done` is called from a separate thread."""

    def __init__(
        self,
        voice: Voice,
        system: SoundSystem,
        *,
        wanted: str = "",
        on_lost: Callable[[str], None] = lambda _reason: None,
        on_back: Callable[[str], None] = lambda _name: None,
    ) -> None:
        """Open the device.

        Args:
            voice: renders the sentences.
            system: the audio library.
            wanted: name and host interface of the device, or some of the words; "" is the default.
            on_lost: called with one sentence when the device is lost; until it can be reopened,
                every sentence counts as done at once.
            on_back: called with the speaker's name when it plays again after that.

        Raises:
            DeviceError: no such loudspeaker, or it cannot play.
        """
        self._voice = voice
        self._system = system
        self._wanted = wanted
        self._on_lost = on_lost
        self._on_back = on_back
        self._lost = False
        self._delay_ms: float | None = None
        self._device = system.find("output", wanted)
        # This variable makes the sound server buffer less; it never requests more than this.
        long = sys.platform == "linux" and "PULSE_LATENCY_MSEC" not in os.environ
        self._latency: float | str = _HELD_S if long else "low"
        self._stream: Any = None
        self._rate = SAMPLE_RATE
        self._sentence: _Sentence | None = None
        self._latest: _Sentence | None = None
        self._control = threading.RLock()
        self._ended: queue.SimpleQueue[_Sentence | None] = queue.SimpleQueue()
        self._open(self._device)
        system.join(self)
        self._finisher = threading.Thread(target=self._finish, name="loudspeaker", daemon=True)
        self._finisher.start()

    @property
    def name(self) -> str:
        """Voice and device, as written to the record."""
        return f"{self._voice.name} on {self._device.label}"

    @property
    def latency_ms(self) -> float | None:
        """Time from starting the device to the first sample, for the latest finished sentence."""
        return self._delay_ms

    @property
    def busy(self) -> bool:
        """Whether a sentence is being spoken."""
        return self._sentence is not None

    @property
    def first_sample_ns(self) -> int | None:
        """When the latest sentence became audible, in nanoseconds of the monotonic clock."""
        latest = self._latest
        return None if latest is None else latest.first_ns

    @property
    def asked_ns(self) -> int | None:
        """When the latest sentence was asked for, in nanoseconds of the monotonic clock."""
        latest = self._latest
        return None if latest is None else latest.asked_ns

    def say(self, text: str, done: Callable[[], None], tone: Tone | None = None) -> None:
        """Start speaking, cutting off the current sentence; `done` is called when the sound ends.

        A tone, if any, comes first.

        Raises:
            DeviceError: the voice failed.
        """
        asked = time.monotonic_ns()
        self._play(self._voice.render(text, tone), done, asked)

    def play(self, pcm: bytes, done: Callable[[], None]) -> None:
        """Play mono 16-bit sound at `SAMPLE_RATE` in the same way as a sentence."""
        self._play(pcm, done, time.monotonic_ns())

    def _play(self, pcm: bytes, done: Callable[[], None], asked: int) -> None:
        with self._control:
            if self._stream is None and not self._reopened():
                self.silence()
                done()
                return
            sound = resampled(pcm, SAMPLE_RATE, self._rate)
            length = len(sound) / BYTES_PER_SAMPLE / self._rate
            deadline = time.monotonic() + length + _OVERDUE_S
            self._latest = sentence = _Sentence(sound, done, asked, deadline)
            self._begin(sentence)

    def silence(self) -> None:
        """Stop at once; `done` of the cut sentence is still called."""
        with self._control:
            if self._sentence is not None:
                self._begin(None)

    def _begin(self, sentence: _Sentence | None) -> None:
        """Discard the device's buffer and restart it with this sentence or with silence.

        A restarted device plays the sentence at once, whatever its buffer size.
        """
        cut, self._sentence = self._sentence, None
        stream = self._stream

        def renew() -> None:
            stream.abort(ignore_errors=True)
            self._sentence = sentence
            if sentence is not None:
                sentence.begun_ns = time.monotonic_ns()
            # A stream that does not start is detected as lost at the next check.
            with contextlib.suppress(self._system.library.PortAudioError):
                stream.start()

        # Before the next one starts: it may be so short that the device takes it in one callback.
        if cut is not None:
            self._ended.put(cut)
        if stream is not None and not within(_CLOSE_S, renew):
            self._stream = self._sentence = None
            if sentence is not None:
                self._ended.put(sentence)

    def close(self) -> None:
        """Stop playing and release the device; returns even if the sound server hangs."""
        self.let_go()
        self._system.leave(self)
        self._ended.put(None)

    def let_go(self) -> None:
        """Close the stream; the next sentence reopens it."""
        with self._control:
            cut, self._sentence = self._sentence, None
            stream, self._stream = self._stream, None
            if stream is not None:
                within(_CLOSE_S, lambda: stream.close(ignore_errors=True))
            if cut is not None:
                self._ended.put(cut)

    def _open(self, device: Device) -> None:
        """Open at the program's sample rate, or else at the device's own."""
        library = self._system.library
        for rate in dict.fromkeys((SAMPLE_RATE, device.default_rate)):
            try:
                stream = library.RawOutputStream(
                    samplerate=rate,
                    device=device.index,
                    channels=1,
                    dtype="int16",
                    latency=self._latency,
                    prime_output_buffers_using_stream_callback=True,
                    callback=self._fill,
                )
                stream.start()
            except library.PortAudioError as fault:
                trouble = fault
                continue
            self._stream, self._rate, self._device = stream, rate, device
            return
        raise DeviceError(
            f"The loudspeaker {device.label} cannot play ({trouble}); choose another one"
        ) from trouble

    def _reopened(self) -> bool:
        try:
            self._open(self._system.find("output", self._wanted))
        except DeviceError:
            return False
        if self._lost:
            self._lost = False
            self._on_back(self.name)
        return True

    def _fill(self, out: Any, frames: int, times: Any, _status: object) -> None:  # noqa: ANN401 - library types
        """Copy the next samples; runs in the audio thread."""
        sentence = self._sentence
        piece = b""
        if sentence is not None and sentence.sounded is None:
            piece = sentence.pcm[sentence.at : sentence.at + frames * BYTES_PER_SAMPLE]
            delay = max(times.outputBufferDacTime - times.currentTime, 0.0)
            if sentence.first_ns is None:
                sentence.first_ns = time.monotonic_ns() + round(delay * 1e9)
            sentence.at += len(piece)
            if sentence.at >= len(sentence.pcm):
                samples = len(piece) // BYTES_PER_SAMPLE
                sentence.sounded = time.monotonic() + delay + samples / self._rate
                self._ended.put(sentence)
        out[: len(piece)] = piece
        out[len(piece) :] = bytes(len(out) - len(piece))

    def _finish(self) -> None:
        """Call `done` at the end of each sentence; detect a device that has stopped."""
        while True:
            try:
                sentence = self._ended.get(timeout=_CHECK_S)
            except queue.Empty:
                self._check()
                continue
            if sentence is None:
                return
            self._wait_for_end(sentence)
            if self._sentence is sentence:
                self._sentence = None
            if sentence.first_ns is not None:
                self._delay_ms = (sentence.first_ns - sentence.begun_ns) / 1e6
            if not sentence.told:
                sentence.told = True
                sentence.done()

    def _wait_for_end(self, sentence: _Sentence) -> None:
        """Wait until the last sample has left the device, or the sentence is cut."""
        limit = time.monotonic() + _LONGEST_WAIT_S
        while sentence.sounded is not None and self._sentence is sentence:
            rest = min(sentence.sounded, limit) - time.monotonic()
            if rest <= 0:
                return
            time.sleep(min(rest, 0.005))

    def _check(self) -> None:
        """Give up a stream that has stopped or makes no progress."""
        # Under the lock: a stream is briefly inactive while it is being restarted.
        with self._control:
            stream, sentence = self._stream, self._sentence
            overdue = sentence is not None and time.monotonic() > sentence.deadline
            if stream is None or (_active(stream) and not overdue):
                return
            if sentence is not None and sentence.first_ns is None:
                self._latency = "low"
            self.let_go()
            self._lost = True
        self._on_lost(f"The loudspeaker {self._device.label} is lost; prompts appear as text")


def _active(stream: Any) -> bool:  # noqa: ANN401 - library type
    """Whether the stream runs; a broken one counts as stopped."""
    return bool(stream.active)
