"""Recordings of people that come with Debian: telephone prompts and read prose.

Packages `asterisk-core-sounds-en-g722` (one woman, about 560 prompts) and `pocketsphinx-testdata`
(two readers). The files are split into halves by a hash of their names; the prompts' speaker
therefore stands in both halves, with different words.
"""

import hashlib
import shutil
import subprocess
from pathlib import Path
from typing import Final

import numpy as np

from assistant.errors import DeviceError
from assistant.speech.pcm import Samples, samples_of
from tests.listening_bench.texts import HUMAN_PHRASES
from tests.listening_bench.voices import Half, from_wave

PROMPTS: Final = Path("/usr/share/asterisk/sounds/en_US_f_Allison")
PROSE: Final = Path("/usr/share/pocketsphinx/test/data")


def half_of(name: str) -> Half:
    """Return the half that a recording belongs to."""
    return "test" if hashlib.sha256(name.encode()).digest()[0] % 2 else "tuning"


def prompt(name: str, cache_folder: Path) -> Samples:
    """Return one telephone prompt."""
    return _decoded(PROMPTS / f"{name}.g722", cache_folder)


def _decoded(path: Path, cache_folder: Path) -> Samples:
    key = hashlib.sha256(str(path).encode()).hexdigest()[:20]
    kept = cache_folder / "human" / f"{key}.npy"
    if kept.is_file():
        loaded: Samples = np.load(kept)
        return loaded
    samples = _read(path)
    kept.parent.mkdir(parents=True, exist_ok=True)
    np.save(kept, samples)
    return samples


def _read(path: Path) -> Samples:
    if path.suffix == ".wav":
        return from_wave(path.read_bytes())
    if path.suffix == ".raw":
        data = path.read_bytes()
        return samples_of(data[: len(data) // 2 * 2])
    program = shutil.which("ffmpeg")
    if program is None:
        msg = "The recorded prompts cannot be decoded without ffmpeg: install it."
        raise DeviceError(msg)
    command = [program, "-v", "error", "-f", "g722", "-i", str(path), "-ar", "16000", "-ac", "1"]
    done = subprocess.run([*command, "-f", "s16le", "-"], capture_output=True, check=True)
    return samples_of(done.stdout[: len(done.stdout) // 2 * 2])


def recordings(half: Half, cache_folder: Path) -> list[tuple[str, Samples]]:
    """Return the recordings of one half that say none of the phrases, by name.

    The human phrases of `HUMAN_PHRASES` are left out, in both halves, with every prompt that says
    the same.
    """
    phrases = set(HUMAN_PHRASES)
    found = []
    for path in sorted(PROMPTS.rglob("*.g722")):
        name = path.relative_to(PROMPTS).with_suffix("").as_posix()
        plain = name not in phrases and not name.startswith(("silence/", "beep"))
        if plain and half_of(name) == half:
            found.append((name, _decoded(path, cache_folder)))
    prose = [*PROSE.glob("librivox/*.wav"), *PROSE.glob("cards/*.wav"), *PROSE.glob("*.raw")]
    mine = [path for path in sorted(prose) if half_of(path.stem) == half]
    return found + [(path.stem, _decoded(path, cache_folder)) for path in mine]
