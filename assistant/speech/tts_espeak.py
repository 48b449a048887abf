"""eSpeak NG, driven in memory: text in, samples out, no file, no sound device, no message printed.

The binding is the one that pyttsx3 carries. The library of the system is tried first, the one
inside the package espeakng-loader second. eSpeak NG keeps its state in the library, so there is
one engine for the whole process and its calls wait for each other.
"""

import ctypes
import sys
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

from assistant.errors import DeviceError, InputError

Origin = Literal["system", "bundled"]

SYSTEM_LIBRARIES = (
    "libespeak-ng.so.1",
    "/opt/homebrew/lib/libespeak-ng.1.dylib",
    "/usr/local/lib/libespeak-ng.1.dylib",
    r"C:\Program Files\eSpeak NG\libespeak-ng.dll",
)

LONGEST_DATA_PATH = 140
"""Characters; the library has a fixed buffer and fails somewhere between 149 and 170."""

_DO_NOT_EXIT = 0x8000
"""Without this bit the library ends the whole process when its data are missing."""

_BUFFER_MS = 50

HOW_TO_INSTALL = (
    'install it with "sudo apt install libespeak-ng1 espeak-ng-data",'
    ' or its copy inside a Python package with "pip install espeakng-loader"'
)


@dataclass(frozen=True, slots=True)
class _Library:
    origin: Origin
    handle: ctypes.CDLL
    data: Path | None


class Espeak:
    """The one eSpeak NG engine of this process; get it from `open_espeak`."""

    def __init__(self, binding: Any, origin: Origin, rate: int, keep: object) -> None:  # noqa: ANN401 - untyped binding
        """Take over an initialised binding.

        Args:
            binding: the module `pyttsx3.drivers._espeak`.
            origin: which library answered.
            rate: samples per second that it makes.
            keep: whatever must live as long as the engine.
        """
        self.origin = origin
        self.sample_rate = rate
        self.version = binding.Info(None).decode("ascii", "replace").split()[0]
        self._binding = binding
        self._keep = keep
        self._lock = threading.Lock()
        self._sound = bytearray()
        binding.SetSynthCallback(self._collect)

    def _collect(self, wav: Any, count: int, _events: object) -> int:  # noqa: ANN401 - a ctypes pointer
        if count > 0 and wav:
            self._sound += ctypes.string_at(wav, count * 2)
        return 0

    def render(self, text: str, *, voice: str, rate: int) -> bytes:
        """Speak a text into memory.

        Args:
            text: one sentence.
            voice: a voice of eSpeak NG, with a variant if wanted, such as "en-us+f3".
            rate: words per minute.

        Returns:
            Mono 16-bit sound at `sample_rate`.

        Raises:
            InputError: there is no such voice.
            DeviceError: the engine failed.
        """
        binding = self._binding
        with self._lock:
            self._sound.clear()
            if binding.SetVoiceByName(voice.encode()) != binding.EE_OK:
                raise InputError(
                    f'eSpeak NG {self.version} has no voice "{voice}";'
                    " take one that espeak-ng --voices lists, such as en-us"
                )
            binding.SetParameter(binding.RATE, rate, 0)
            if binding.Synth(text.encode(), flags=binding.CHARS_UTF8) != binding.EE_OK:
                raise DeviceError(f'eSpeak NG {self.version} could not speak "{text}"; try again')
            return bytes(self._sound)


@cache
def open_espeak(*, bundled_only: bool = False) -> Espeak:
    """Start eSpeak NG; further calls return the same engine.

    Args:
        bundled_only: leave the system's library alone.

    Raises:
        DeviceError: there is no usable eSpeak NG, or pyttsx3 is missing; says what to install.
    """
    trouble = "no library was found"
    for library in _libraries(bundled_only=bundled_only):
        keep, path = _short_path(library.data)
        place = None if path is None else str(path).encode()
        initialise = library.handle.espeak_Initialize
        initialise.argtypes = [ctypes.c_int, ctypes.c_int, ctypes.c_char_p, ctypes.c_int]
        binding = _binding(library.handle)
        rate = initialise(binding.AUDIO_OUTPUT_SYNCHRONOUS, _BUFFER_MS, place, _DO_NOT_EXIT)
        if rate > 0:
            return Espeak(binding, library.origin, rate, keep)
        trouble = f"the {library.origin} library does not find its data"
        sys.modules.pop("pyttsx3.drivers._espeak", None)
    raise DeviceError(f"The voice eSpeak NG cannot be used, {trouble}; {HOW_TO_INSTALL}")


def _libraries(*, bundled_only: bool) -> Iterator[_Library]:
    for name in () if bundled_only else SYSTEM_LIBRARIES:
        handle = _loaded(name)
        if handle is not None:
            yield _Library("system", handle, None)
    try:
        import espeakng_loader  # noqa: PLC0415 - an optional extra
    except ImportError:
        return
    folder = Path(espeakng_loader.__file__).parent / "espeak-ng-data"
    handle = _loaded(espeakng_loader.get_library_path())
    if handle is not None and (folder / "phontab").is_file():
        yield _Library("bundled", handle, folder)


def _loaded(library: str) -> ctypes.CDLL | None:
    """Load a system library; one that is absent or made for another system is none."""
    try:
        return ctypes.CDLL(library)
    except OSError:
        return None


def _short_path(data: Path | None) -> tuple[object, Path | None]:
    """Return a path to the data short enough for the library, and what keeps that path alive."""
    if data is None or len(str(data)) <= LONGEST_DATA_PATH:
        return None, data
    folder = tempfile.TemporaryDirectory(prefix="espeak-")
    link = Path(folder.name) / "espeak-ng-data"
    link.symlink_to(data, target_is_directory=True)
    return folder, link


def _binding(handle: ctypes.CDLL) -> Any:  # noqa: ANN401 - untyped binding
    """Import pyttsx3's binding over this very library, wherever it would look by itself."""
    genuine = ctypes.cdll.LoadLibrary
    ctypes.cdll.LoadLibrary = lambda _name: handle  # type: ignore[method-assign, assignment] # the only way in
    try:
        from pyttsx3.drivers import _espeak  # noqa: PLC0415 - loads a system library
    except ImportError as fault:
        raise DeviceError(
            f"The voice cannot be loaded ({fault}); run: pip install pyttsx3"
        ) from fault
    finally:
        ctypes.cdll.LoadLibrary = genuine  # type: ignore[method-assign] # puts back what was there
    return _espeak
