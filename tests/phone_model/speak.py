"""Turn prepared texts into sound: natural voices by the graph, formant voices by eSpeak NG.

Each process takes every n-th text until its time is over and writes one array of 16-bit samples at
16 kHz and one list of what lies where in it.
"""

import json
import lzma
import random
import time
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import onnx
import torch

from . import graph_shapes  # noqa: F401 - adds its rules
from .espeak import Espeak, Formant, trimmed
from .front import RATE
from .graph import Graph
from .kokoro import RATE as NATURAL_RATE
from .kokoro import Job, style

Samples = npt.NDArray[np.int16]


class Shelf:
    """Collects sounds and writes them as one array."""

    def __init__(self, folder: Path, name: str) -> None:
        """Start an empty one."""
        self._folder, self._name = folder, name
        self._sounds: list[Samples] = []
        self._rows: list[dict[str, Any]] = []
        self._size = 0

    def add(self, sound: Samples, **row: Any) -> None:  # noqa: ANN401 - whatever is to be known
        """Take one sound in."""
        self._rows.append({**row, "start": self._size, "size": len(sound)})
        self._sounds.append(sound)
        self._size += len(sound)

    def write(self) -> str:
        """Write both files; returns how much there is, in words."""
        self._folder.mkdir(parents=True, exist_ok=True)
        whole = np.concatenate([np.zeros(0, np.int16), *self._sounds])
        np.save(self._folder / f"{self._name}.npy", whole)
        (self._folder / f"{self._name}.json").write_text(json.dumps(self._rows))
        return f"{self._name}: {len(self._rows)} clips, {whole.size / RATE / 60:.1f} min"


def at_16_khz(sound: torch.Tensor, rate: int) -> torch.Tensor:
    """Resample by cutting the spectrum (one clip)."""
    count = round(sound.shape[-1] * RATE / rate)
    bins = torch.fft.rfft(sound)
    kept = count // 2 + 1
    bins = torch.nn.functional.pad(bins, (0, max(0, kept - bins.shape[-1])))[..., :kept]
    return torch.fft.irfft(bins, count) * (count / sound.shape[-1])


def as_samples(sound: torch.Tensor) -> Samples:
    """Bring the peak to 0.7 and cut the stillness off."""
    sound = torch.nan_to_num(sound)
    sound = sound / sound.abs().max().clamp_min(1e-6) * 0.7
    return trimmed((sound * 32767).to(torch.int16).cpu().numpy(), RATE)


def natural(work: Path, share: int, shares: int, seconds: float, device: str) -> str:
    """Say this process's share of the natural jobs; those for measurements come first."""
    torch.set_num_threads(1)
    begin = time.monotonic()
    listed = [
        Job(**row) for row in json.loads(lzma.decompress((work / "jobs.json.xz").read_bytes()))
    ]
    with np.load(work / "voices.npz") as file:
        voices = {name: file[name] for name in file.files}
    graph = Graph(onnx.load(work / "kokoro.onnx"), device)
    shelf = Shelf(work / "speech", f"natural-{share:02d}")
    for job in listed[share::shares]:
        if time.monotonic() - begin > seconds:
            break
        sound = graph.run(
            tokens=np.array([[0, *job.tokens, 0]]),
            style=style(voices, job),
            speed=np.array([job.speed], np.float32),
        )
        said = as_samples(at_16_khz(sound.reshape(-1), NATURAL_RATE))
        if RATE // 8 < said.size < 5.6 * RATE:
            shelf.add(said, part=job.part, kind=job.kind, text=job.text, voice=job.one)
    return shelf.write()


def formant(work: Path, share: int, shares: int, seconds: float) -> str:
    """Say this process's share of the formant voices' texts."""
    torch.set_num_threads(1)
    begin = time.monotonic()
    texts = json.loads(lzma.decompress((work / "texts.json.xz").read_bytes()))
    chance = random.Random(1000 + share)  # noqa: S311 - no secret
    espeak = Espeak(work / "espeak")
    shelf = Shelf(work / "speech", f"formant-{share:02d}")
    for kind, text in texts[share::shares]:
        if time.monotonic() - begin > seconds:
            break
        voice = Formant.draw(chance)
        if not espeak.voice(voice.name):
            continue
        sound = espeak.say(
            text.replace(" , ", ", "), rate=voice.rate, pitch=voice.pitch, spread=voice.spread
        )
        if not sound.size:
            continue
        said = as_samples(at_16_khz(torch.from_numpy(sound / 32768.0), espeak.rate))
        plain = " ".join(text.replace(",", " ").split())
        if RATE // 8 < said.size < 5.6 * RATE:
            shelf.add(said, part="train", kind=kind, text=plain, voice=voice.name)
    return shelf.write()
