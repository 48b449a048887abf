"""Render one sentence with eSpeak NG in a separate process: text in, samples out.

eSpeak NG keeps state between sentences (such as the phase of its wave generator) that no call of
its interface resets, so the second sentence of a process depends on the first. A fresh process per
sentence gives the same samples for the same text. `tts_espeak` runs this file as a script, without
the package, because that starts much faster.

Arguments: library, folder with its data or "", voice or "", words per minute. The text is read from
standard input in UTF-8. Standard output is one line with sample rate and version, followed by the
sound as mono 16-bit samples; without a voice, only the line.
"""

import ctypes
import sys
from typing import Final

NO_LIBRARY: Final = 10
"""Exit status: the library cannot be loaded."""
NO_DATA: Final = 11
"""Exit status: the library does not find its data."""
NO_VOICE: Final = 12
"""Exit status: there is no such voice."""
NOT_SPOKEN: Final = 13
"""Exit status: the library refused the text."""

# From the library's public header speak_lib.h.
_SYNCHRONOUS: Final = 2
_BUFFER_MS: Final = 50
_DO_NOT_EXIT: Final = 0x8000
"""Without this flag the library exits the process with its own status."""
_RATE: Final = 1
_BY_CHARACTER: Final = 1
_UTF8: Final = 1

_Collector = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_int, ctypes.c_void_p)


class Failed(Exception):  # noqa: N818 - carries only an exit status
    """Ends the process with this exit status."""

    def __init__(self, status: int) -> None:
        """Set the exit status."""
        super().__init__(status)
        self.status = status


class Binding:
    """The functions of eSpeak NG that are needed, with their types."""

    def __init__(self, library: str, data: str) -> None:
        """Load and initialise.

        Args:
            library: path, or a name known to the system's loader.
            data: folder with the library's data, "" for its default.

        Raises:
            Failed: the library or its data are missing.
        """
        try:
            self._library = ctypes.CDLL(library)
        except OSError as fault:
            raise Failed(NO_LIBRARY) from fault
        start = self._library.espeak_Initialize
        start.argtypes = [ctypes.c_int, ctypes.c_int, ctypes.c_char_p, ctypes.c_int]
        place = data.encode() if data else None
        self.sample_rate: int = start(_SYNCHRONOUS, _BUFFER_MS, place, _DO_NOT_EXIT)
        if self.sample_rate <= 0:
            raise Failed(NO_DATA)

    @property
    def version(self) -> str:
        """The library's version, such as "1.51"."""
        info = self._library.espeak_Info
        info.argtypes = [ctypes.POINTER(ctypes.c_char_p)]
        info.restype = ctypes.c_char_p
        told: bytes = info(None)
        return told.decode("ascii", "replace").split()[0]

    def speak(self, text: bytes, voice: str, rate: int) -> bytes:
        """Return the sound of a text as mono 16-bit samples.

        Args:
            text: UTF-8.
            voice: name of a voice, optionally with a variant, such as "en-us+f3".
            rate: words per minute.

        Raises:
            Failed: there is no such voice, or the library refused the text.
        """
        sound = bytearray()

        def collect(wave: int | None, count: int, _events: int | None) -> int:
            if count > 0 and wave:
                sound.extend(ctypes.string_at(wave, count * ctypes.sizeof(ctypes.c_short)))
            return 0

        library, collector = self._library, _Collector(collect)
        library.espeak_SetSynthCallback(collector)
        library.espeak_SetVoiceByName.argtypes = [ctypes.c_char_p]
        if library.espeak_SetVoiceByName(voice.encode()):
            raise Failed(NO_VOICE)
        library.espeak_SetParameter.argtypes = [ctypes.c_int] * 3
        library.espeak_SetParameter(_RATE, rate, 0)
        synth = library.espeak_Synth
        synth.argtypes = [
            *(ctypes.c_char_p, ctypes.c_size_t),
            *(ctypes.c_uint, ctypes.c_int, ctypes.c_uint, ctypes.c_uint),
            *(ctypes.c_void_p, ctypes.c_void_p),
        ]
        if synth(text, len(text) + 1, 0, _BY_CHARACTER, 0, _UTF8, None, None):
            raise Failed(NOT_SPOKEN)
        return bytes(sound)


def main(library: str, data: str, voice: str, rate: str) -> int:
    """Run the program; returns the exit status."""
    try:
        binding = Binding(library, data)
        sound = binding.speak(sys.stdin.buffer.read(), voice, int(rate)) if voice else b""
    except Failed as failed:
        return failed.status
    sys.stdout.buffer.write(f"{binding.sample_rate} {binding.version}\n".encode() + sound)
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:5]))
