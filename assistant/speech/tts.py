"""Text to speech: renders each sentence once and caches it; it does not play it.

On Linux eSpeak NG renders in memory, on macOS and Windows the system's own voices through pyttsx3;
each in a child process with a time limit, since it may hang or crash.
"""

import sys
import threading
from typing import Protocol

from assistant.ports import Tone
from assistant.speech.resample import resampled
from assistant.speech.tones import sound_of

DEFAULT_RATE = 165
"""Words per minute: brisk, but still clear under a hood."""

DEFAULT_VOICE = "en-us"


class Renderer(Protocol):
    """Turns text into mono 16-bit sound at its own sample rate."""

    @property
    def name(self) -> str:
        """Engine and version."""
        ...

    def render(self, text: str, *, voice: str, rate: int) -> tuple[bytes, int]:
        """Return the sound and its sample rate in Hz."""
        ...


class EspeakRenderer:
    """Renders with eSpeak NG."""

    def __init__(self) -> None:
        """Start the engine.

        Raises:
            DeviceError: no usable eSpeak NG; says what to install.
        """
        from assistant.speech.tts_espeak import open_espeak  # noqa: PLC0415 - Linux only

        self._engine = open_espeak()

    @property
    def name(self) -> str:
        """Engine, version and origin of the library."""
        return f"eSpeak NG {self._engine.version} ({self._engine.origin})"

    def render(self, text: str, *, voice: str, rate: int) -> tuple[bytes, int]:
        """Return the sound and its sample rate in Hz."""
        return self._engine.render(text, voice=voice, rate=rate), self._engine.sample_rate


class Voice:
    """One voice at one speed; every sentence is rendered once and cached.

    Thread-safe.
    """

    def __init__(
        self,
        voice: str = "",
        rate: int = DEFAULT_RATE,
        renderer: Renderer | None = None,
    ) -> None:
        """Choose the voice.

        Args:
            voice: a voice of the renderer, for eSpeak NG for instance "en-us+f3" or
                "en-gb-scotland"; "" is the renderer's default English voice.
            rate: words per minute.
            renderer: the synthesiser; by default the usual one of the system.

        Raises:
            DeviceError: no voice on this machine; says what to install.
        """
        self._renderer = renderer or default_renderer()
        espeak = isinstance(self._renderer, EspeakRenderer)
        self._voice = voice or (DEFAULT_VOICE if espeak else "")
        self._rate = rate
        self._kept: dict[str, bytes] = {}
        self._lock = threading.Lock()

    @property
    def name(self) -> str:
        """Engine, version, voice and speed, as written to the record."""
        return " ".join(f"{self._renderer.name} {self._voice} {self._rate} wpm".split())

    def render(self, text: str, tone: Tone | None = None) -> bytes:
        """Return the sentence as mono 16-bit sound at 16 kHz, the same bytes every time.

        Args:
            text: the sentence; "" is no sound at all where there is a tone.
            tone: sounds before the sentence.

        Raises:
            InputError: the renderer has no such voice.
            DeviceError: the renderer failed.
        """
        if tone is not None:
            return sound_of(tone) + (self.render(text) if text else b"")
        with self._lock:
            if text not in self._kept:
                sound, rate = self._renderer.render(text, voice=self._voice, rate=self._rate)
                self._kept[text] = resampled(sound, rate)
            return self._kept[text]


def default_renderer() -> Renderer:
    """Return the renderer of this system.

    Raises:
        DeviceError: no renderer; says what to install.
    """
    if sys.platform in {"darwin", "win32"}:
        from assistant.speech.tts_system import SystemRenderer  # noqa: PLC0415 - not on Linux

        return SystemRenderer()
    return EspeakRenderer()
