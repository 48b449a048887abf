"""eSpeak NG in memory: text in, samples out; no file, no sound device, no printed message.

The system's library is tried first, then the one in the package espeakng-loader. Every sentence is
rendered in a fresh process (`espeak_process` says why), so the same text in the same voice gives
the same bytes, and a crash of the library loses a sentence, not the session.
"""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final, Literal

from assistant.errors import DeviceError, InputError
from assistant.speech import espeak_process

Origin = Literal["system", "bundled"]

SYSTEM_LIBRARIES = (
    "libespeak-ng.so.1",
    "/opt/homebrew/lib/libespeak-ng.1.dylib",
    "/usr/local/lib/libespeak-ng.1.dylib",
    r"C:\Program Files\eSpeak NG\libespeak-ng.dll",
)

LONGEST_DATA_PATH = 140
"""Longest data path, in characters; the library's fixed buffer fails from 149 to 170 on."""

TIME_LIMIT_S: Final = 20.0
"""Seconds for one sentence; an ordinary one takes less than a tenth."""

HOW_TO_INSTALL = (
    'install it with "sudo apt install libespeak-ng1 espeak-ng-data",'
    ' or its copy inside a Python package with "pip install espeakng-loader"'
)


@dataclass(frozen=True, slots=True)
class _Library:
    origin: Origin
    path: str
    data: Path | None


class Espeak:
    """A working library, obtained from `open_espeak`. Thread-safe."""

    def __init__(self, origin: Origin, library: str, data: str, keep: object) -> None:
        """Start the library once as a test.

        Args:
            origin: where the library comes from.
            library: path, or a name known to the system's loader.
            data: folder with its data, "" for the library's default.
            keep: an object to keep alive as long as the engine.

        Raises:
            _Unusable: the library or its data are missing, or it does not answer.
        """
        self.origin = origin
        self._keep = keep
        self._command = (library, data)
        status, told, _ = self._run("", "", 0)
        if status:
            raise _Unusable(status)
        rate, self.version = told.split()
        self.sample_rate = int(rate)

    def _run(self, text: str, voice: str, rate: int) -> tuple[int, str, bytes]:
        """Return the exit status, the line about the engine, and the sound.

        Raises:
            DeviceError: the process did not end in time.
        """
        # Isolated and without site packages: the file needs only the standard library.
        program = [sys.executable, "-I", "-S", espeak_process.__file__]
        try:
            child = subprocess.run(  # noqa: S603 - a file of this package, no shell
                [*program, *self._command, voice, str(rate)],
                input=text.encode(),
                capture_output=True,
                timeout=TIME_LIMIT_S,
                check=False,
            )
        except subprocess.TimeoutExpired as fault:
            raise DeviceError(
                f"eSpeak NG did not answer within {TIME_LIMIT_S:g} s; close other programs and"
                " try again"
            ) from fault
        line, _, sound = child.stdout.partition(b"\n")
        return child.returncode, line.decode("ascii", "replace"), sound

    def render(self, text: str, *, voice: str, rate: int) -> bytes:
        """Render a text; the same arguments give the same bytes.

        Args:
            text: one sentence.
            voice: a voice of eSpeak NG, optionally with a variant, such as "en-us+f3".
            rate: words per minute.

        Returns:
            Mono 16-bit sound at `sample_rate`.

        Raises:
            InputError: no such voice.
            DeviceError: the engine failed.
        """
        status, _, sound = self._run(text, voice, rate)
        if status == espeak_process.NO_VOICE:
            raise InputError(
                f'eSpeak NG {self.version} has no voice "{voice}";'
                " choose one listed by espeak-ng --voices, such as en-us"
            )
        if status:
            raise DeviceError(f'eSpeak NG {self.version} could not speak "{text}"; try again')
        return sound


class _Unusable(Exception):  # noqa: N818 - never leaves this module
    """A library that does not start; carries the exit status of the process."""

    def __init__(self, status: int) -> None:
        super().__init__(status)
        self.status = status


@cache
def open_espeak(*, bundled_only: bool = False) -> Espeak:
    """Find a working eSpeak NG; further calls return the same engine.

    Args:
        bundled_only: do not try the system's library.

    Raises:
        DeviceError: no usable eSpeak NG; says what to install.
    """
    trouble = "no library was found"
    for library in _libraries(bundled_only=bundled_only):
        keep, data = _short_path(library.data)
        try:
            return Espeak(library.origin, library.path, str(data or ""), keep)
        except _Unusable as unusable:
            if unusable.status != espeak_process.NO_LIBRARY:
                trouble = f"the {library.origin} library does not find its data"
    raise DeviceError(f"The voice eSpeak NG cannot be used, {trouble}; {HOW_TO_INSTALL}")


def _libraries(*, bundled_only: bool) -> Iterator[_Library]:
    for name in () if bundled_only else SYSTEM_LIBRARIES:
        yield _Library("system", name, None)
    try:
        import espeakng_loader  # noqa: PLC0415 - an optional extra
    except ImportError:
        return
    folder = Path(espeakng_loader.__file__).parent / "espeak-ng-data"
    if (folder / "phontab").is_file():
        yield _Library("bundled", str(espeakng_loader.get_library_path()), folder)


def _short_path(data: Path | None) -> tuple[object, Path | None]:
    """Return a data path short enough for the library, and an object that keeps it alive."""
    if data is None or len(str(data)) <= LONGEST_DATA_PATH:
        return None, data
    folder = tempfile.TemporaryDirectory(prefix="espeak-")
    link = Path(folder.name) / "espeak-ng-data"
    link.symlink_to(data, target_is_directory=True)
    return folder, link
