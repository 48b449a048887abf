"""What the measurements need and this machine lacks."""

import shutil
from importlib.util import find_spec
from typing import Final

from assistant.errors import DeviceError
from tests.listening_bench.human import PROMPTS, PROSE

_PROGRAMS: Final = ("espeak-ng", "flite", "ffmpeg")


def lacking() -> list[str]:
    """Name the Debian and Python packages that have to be installed first."""
    found = [name for name in _PROGRAMS if shutil.which(name) is None]
    if not PROMPTS.is_dir():
        found.append("asterisk-core-sounds-en-g722")
    if not PROSE.is_dir():
        found.append("pocketsphinx-testdata")
    if find_spec("soxr") is None:
        found.append("soxr (from PyPI)")
    return found


def require() -> None:
    """Refuse to measure without the material.

    Raises:
        DeviceError: names what is missing and how to get it.
    """
    found = lacking()
    if found:
        msg = (
            f"The speech material is not installed: {', '.join(found)}; on Debian: "
            f"apt-get install {' '.join(name for name in found if ' ' not in name)}"
        )
        raise DeviceError(msg)
