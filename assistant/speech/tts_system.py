"""The voices of macOS and Windows, through pyttsx3 in a child process with a time limit.

The package runs the system's event loop, which may hang, prints to standard output and can only
write files; none of that may affect the session. The child runs this module as a program.
"""

import subprocess
import sys
import tempfile
import time
from importlib.metadata import version
from pathlib import Path

from assistant.errors import DeviceError
from assistant.speech.pcm import bytes_of

TIME_LIMIT_S = 20.0
"""Seconds for one sentence; an ordinary one takes less than one."""

_POLL_S = 0.02


class SystemRenderer:
    """Renders with the system's voices."""

    def __init__(self, time_limit_s: float = TIME_LIMIT_S) -> None:
        """Set the time limit for one sentence, in seconds."""
        self._time_limit_s = time_limit_s

    @property
    def name(self) -> str:
        """Engine and version."""
        return f"system voice through pyttsx3 {version('pyttsx3')}"

    def render(self, text: str, *, voice: str, rate: int) -> tuple[bytes, int]:
        """Return the sound and its sample rate in Hz.

        Raises:
            DeviceError: the system's voice failed, or did not answer in time.
        """
        with tempfile.TemporaryDirectory(prefix="voice-") as folder:
            # macOS writes AIFF whatever the file name; the reader looks at the header.
            path = Path(folder) / "sentence.wav"
            command = [sys.executable, "-m", __name__, str(path), str(rate), voice]
            try:
                child = subprocess.run(  # noqa: S603 - this program itself, no shell
                    command,
                    input=text.encode(),
                    capture_output=True,
                    timeout=self._time_limit_s,
                    check=False,
                )
            except subprocess.TimeoutExpired as fault:
                raise DeviceError(
                    f"The system's voice did not answer within {self._time_limit_s:g} s;"
                    " check the speech settings of the system"
                ) from fault
            if child.returncode:
                trouble = child.stderr.decode(errors="replace").strip().splitlines()[-1:]
                raise DeviceError(
                    f"The system's voice failed ({' '.join(trouble)});"
                    " check the speech settings of the system"
                )
            return _read(path)


def _read(path: Path) -> tuple[bytes, int]:
    """Read the file in whatever format the system wrote, as mono."""
    import soundfile  # noqa: PLC0415 - loads a system library

    try:
        signal, rate = soundfile.read(str(path), dtype="float64", always_2d=True)
    except soundfile.LibsndfileError as fault:
        raise DeviceError(f"The system's voice wrote no sound ({fault})") from fault
    return bytes_of(signal.mean(axis=1) * 32768.0), int(rate)


def speak_to_file(text: str, path: Path, rate: int, voice: str) -> None:
    """Write one sentence to a file; run it in a separate process, since it may hang."""
    import pyttsx3  # noqa: PLC0415 - starts the system's speech

    engine = pyttsx3.init()
    engine.setProperty("rate", rate)
    if voice:
        engine.setProperty("voice", voice)
    engine.save_to_file(text, str(path))
    engine.runAndWait()
    # The call may return before the file exists; the parent's time limit bounds the wait.
    size = -1
    while size <= 0 or path.stat().st_size != size:
        size = path.stat().st_size if path.exists() else -1
        time.sleep(_POLL_S)


if __name__ == "__main__":
    speak_to_file(sys.stdin.read(), Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3])
